"""The trace against graphs made outside the project, and against networkx on the same graphs.

Source: trace_graphs.json of the shared checks (computed with networkx 3.6.1 descendants and
ancestors, BSD-3). F a load, C a cow, M one milking of one cow, L a lot, V a vat, W a wheel; a
milking whose milk was kept out has no edge to a lot.
"""

import json
import os
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any

import networkx as nx
import pytest

from feed.models import Feeding, ForageBatch
from herd.models import Animal, Group
from milk.models import CowMilking, Milking, MilkingPart, MilkLot, Vat, VatLot, Wheel
from milk.trace import back, forward
from tests.factories.feed import make_field
from tests.factories.herd import make_animal, make_group, make_stamp
from tests.factories.milk import EVENING, bare_lot, make_tank

HERE = Path(__file__).resolve().parent.parent.parent
FOLDER = Path(os.environ.get("SWARDLINE_SHARED", HERE.parent / "shared"))
FILE = FOLDER / "checks" / "fixtures" / "trace_graphs.json"
# Further apart than feed counts, so that a load reaches the milkings of its own day only.
BETWEEN_DAYS = timedelta(days=3)

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.skipif(not FILE.exists(), reason=f"no {FILE}: set SWARDLINE_SHARED to see it"),
]
GRAPHS = json.loads(FILE.read_text())["graphs"] if FILE.exists() else []


@dataclass
class Written:
    """A graph as rows: the thing of each name, and the name of each row."""

    things: dict[str, Any] = field(default_factory=dict)
    cow_milkings: dict[tuple[int, int], str] = field(default_factory=dict)

    def names(self, model: type, keys: Any) -> set[str]:
        wanted = set(keys)
        return {n for n, t in self.things.items() if isinstance(t, model) and t.pk in wanted}


def entry(model: Any, at: Any, **fields: Any) -> Any:
    return model(**{**make_stamp(at=at).columns(), "received_at": at, **fields})


def day_of(name: str) -> int:
    return int("".join(c for c in name[1:].split("-")[0] if c.isdigit()))


def write(edges: list[list[str]]) -> Written:
    """One group milking per day and load; meter rows say which lot each cow's milk is in."""
    written = Written()
    names = {name for edge in edges for name in edge}
    into: dict[str, list[str]] = defaultdict(list)
    out_of: dict[str, list[str]] = defaultdict(list)
    for source, target in edges:
        into[target].append(source)
        out_of[source].append(target)
    for name in sorted(name for name in names if name[0] == "C"):
        written.things[name] = make_animal(int(name[1:]) + 1)
    write_lots(written, names, into)
    write_milkings(written, names, into, out_of)
    return written


def write_lots(written: Written, names: set[str], into: dict[str, list[str]]) -> None:
    """Lots of 1,000 kg, vats with 100 kg of each of their lots, and wheels."""
    tanks = {place: make_tank() for place in ("0", "1")}
    for name in sorted(name for name in names if name[0] == "L"):
        at = EVENING + day_of(name) * BETWEEN_DAYS
        written.things[name] = bare_lot(tank=tanks[name[-1]], code=name, opened_at=at, closed_at=at)
    for number, name in enumerate(sorted(name for name in names if name[0] == "V")):
        at = EVENING + day_of(name) * BETWEEN_DAYS + timedelta(hours=3)
        vat = entry(Vat, at, day=at.date(), number=number + 1)
        vat.save()
        written.things[name] = vat
        VatLot.objects.bulk_create(
            VatLot(vat=vat, lot=written.things[lot], kg=100) for lot in into[name]
        )
    wheels = {
        name: entry(
            Wheel,
            written.things[into[name][0]].happened_at,
            vat=written.things[into[name][0]],
            plate=name,
            twin="ABCD"[int(name[-1])],
            kg=40,
        )
        for name in sorted(name for name in names if name[0] == "W")
    }
    Wheel.objects.bulk_create(wheels.values())
    written.things |= wheels


def write_milkings(
    written: Written,
    names: set[str],
    into: dict[str, list[str]],
    out_of: dict[str, list[str]],
) -> None:
    """A load is fed to a group of its own, two hours before that group is milked."""
    field_ = make_field()
    for load in sorted(name for name in names if name[0] == "F"):
        at = EVENING + day_of(load) * BETWEEN_DAYS
        group: Group = make_group(milked=False)
        batch = entry(ForageBatch, at - timedelta(hours=5), field=field_, kg=400)
        batch.save()
        entry(Feeding, at - timedelta(hours=2), batch=batch, group=group, kg=400).save()
        session = {"group": group, "day": at.date(), "session": "E", "kg": 100, "metered": True}
        milking = entry(Milking, at, tank=None, **session)
        milking.save()
        written.things[load] = batch
        rows, lots = [], set()
        for name in out_of[load]:
            cow = next(source for source in into[name] if source[0] == "C")
            lot = written.things[out_of[name][0]] if out_of[name] else None
            lots.add(lot)
            animal = written.things[cow]
            written.cow_milkings[animal.pk, milking.pk] = name
            rows.append(
                CowMilking(
                    animal=animal, milking=milking, lot=lot, grams=9000, goes=0 if lot else 1
                )
            )
        CowMilking.objects.bulk_create(rows)
        MilkingPart.objects.bulk_create(
            MilkingPart(lot=lot, milking=milking, kg=100) for lot in lots if lot is not None
        )


def below(written: Written, name: str) -> set[str]:
    """What the trace finds below a node."""
    kind = {"F": "batch", "C": "animal", "L": "lot"}[name[0]]
    trace = forward(kind, written.things[name])
    found = trace.found
    milkings = {m.pk for m in (*found.start.milkings, *found.start.kept_out)}
    animal = written.things[name].pk if kind == "animal" else None
    return (
        {
            told
            for (cow, milking), told in written.cow_milkings.items()
            if milking in milkings and animal in (None, cow)
        }
        | (written.names(MilkLot, [lot.row.pk for lot in found.lots]) - {name})
        | written.names(Vat, [vat.pk for vat in found.vats])
        | written.names(Wheel, [wheel.pk for wheel, _ in found.wheels])
    )


def above(written: Written, name: str) -> set[str]:
    """What the trace finds above a node."""
    thing = written.things[name]
    found = back({"W": "wheel", "V": "vat"}[name[0]], thing).found
    return (
        {
            written.cow_milkings[cow.pk, at.milking.pk]
            for cow in found.animals
            for at in cow.milkings
        }
        | written.names(Animal, [cow.pk for cow in found.animals])
        | written.names(ForageBatch, [feed.pk for feed in found.feeds])
        | written.names(MilkLot, [lot.row.pk for lot in found.lots])
        | (written.names(Vat, [thing.vat_id]) if name[0] == "W" else set())
    )


@pytest.mark.parametrize("graph", GRAPHS, ids=lambda graph: f"seed {graph['seed']}")
def test_trace_finds_what_the_graph_says(graph: dict[str, Any]) -> None:
    written = write(graph["edges"])
    oracle = nx.DiGraph(graph["edges"])
    for name, expected in graph["forward"].items():
        if name[0] in "FCL":
            assert below(written, name) == set(expected), name
    for name, expected in graph["back"].items():
        assert above(written, name) == set(expected), name
    for name in sorted(oracle)[::7]:
        if name[0] in "FCL":
            assert below(written, name) == nx.descendants(oracle, name), name
        elif name[0] in "VW":
            assert above(written, name) == nx.ancestors(oracle, name), name
