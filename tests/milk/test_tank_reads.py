"""What is read and written of tanks in few statements, beside the same looked up one by one."""

from collections import defaultdict
from datetime import timedelta
from itertools import count
from typing import Any

import pytest
from django.db import connection
from django.db.models import Q
from hypothesis import example, given
from hypothesis import strategies as st

from config.models import Notice
from milk.below import descendants
from milk.blend import Flow, Wash
from milk.figures import longest_draws
from milk.models import (
    CowMilking,
    Delivery,
    LotDraw,
    LotParent,
    MeterArrival,
    Milking,
    MilkLot,
    TankEvent,
    Tray,
    VatFill,
)
from milk.services import closure, lot_rows, open_ends, timeline
from milk.services.cow_rows import CowRow, insert_new, insert_rows
from tests.factories import milk
from tests.factories.herd import make_animal
from tests.milk.test_rebuild import FIRST, doings, quick, undone, written

pytestmark = pytest.mark.django_db
What = TankEvent.What


# Of everything one: milk, what lasts across the milk of the next session, and a tray struck.
DAY = [
    ("milk", 0, 0, 2, 90),
    ("tray", 0, 5, None, 10),
    ("fill", 0, 6, None, 20),
    ("move", 0, 8, 1, 5),
    ("milk", 0, 26, 2, 80),
    ("drawn", 0, 30, None, 7),
    ("tray", 1, 31, None, 3),
    ("washed", 0, 34, None, 1),
]


def grams(entry: Any) -> int:
    return int(entry.kg * 1000)


def flow_of(entry: Any) -> Flow:
    """The flow of one entry, by what kind of entry it is."""
    common = {"at": entry.happened_at, "until": entry.ended_at, "grams": grams(entry)}
    kind = {Milking: "milking", Delivery: "delivery", TankEvent: "tank_event"}
    kind |= {Tray: "tray", VatFill: "vat_fill"}
    key = (kind[type(entry)], entry.pk)
    if isinstance(entry, Milking):
        said = ("milking", entry.day, entry.session)
        return Flow(key=key, to=entry.tank_id, session=said, **common)
    if isinstance(entry, Delivery) and entry.way == "in":
        return Flow(key=key, to=entry.tank_id, session=key, **common)
    if isinstance(entry, TankEvent):
        to = {"to": entry.to_tank_id, "session": key} if entry.what == What.MOVED else {}
        return Flow(key=key, source=entry.tank_id, **to, **common)
    perhaps = entry.happened_at + longest_draws().at(entry.happened_at)
    return Flow(
        key=key,
        source=entry.tank_id,
        perhaps_until=None if entry.ended_at else perhaps,
        **common,
    )


def looked_up(line: timeline.TimeLine, before: Any) -> tuple[list[Flow], set[Wash]]:
    """The flows and washes of a time line, each entry of the book asked whether it is of it."""
    found, washes = [], set()
    for model in (Milking, Delivery, TankEvent, Tray, VatFill):
        for entry in model.objects.all():
            start = line.starts.get(entry.tank_id)
            if entry.is_struck or start is None or not start <= entry.happened_at < before:
                continue
            if not isinstance(entry, TankEvent) or entry.what in TankEvent.TAKES_MILK:
                found.append((flow_of(entry), entry.uuid))
            elif entry.what in (What.WASHED, What.EMPTIED):
                washes.add(Wash(entry.tank_id, entry.happened_at))
    found.sort(key=lambda one: (one[0].at, one[0].key[0], one[1]))
    return [flow for flow, _ in found], washes


def stood(line: timeline.TimeLine) -> dict[int, tuple[int, int]]:
    """By tank, the lot (key) and g that the first lot of the time line found there."""
    found = {}
    for tank, start in line.starts.items():
        for edge in LotParent.objects.filter(lot__tank=tank, lot__opened_at=start):
            if not edge.lot.void and not edge.parent.void and edge.parent.tank_id == tank:
                found[tank] = (edge.parent_id, grams(edge))
    return found


def others(farm: Any) -> None:
    """What the farm's doings leave out: milk that is sold and bought, and what moves no milk."""
    tank, other = farm.tanks
    out = {"way": "out", "holding": milk.make_buyer(), "tank": tank, "kg": milk.kg(3)}
    milk.plain(Delivery, FIRST + timedelta(hours=7), farm.by, **out)
    milk.plain(Delivery, FIRST + timedelta(hours=8), farm.by, **{**out, "way": "in"})
    milk.plain(TankEvent, FIRST + timedelta(hours=9), farm.by, tank=other, what=What.EMPTIED)
    milk.plain(
        TankEvent,
        FIRST + timedelta(hours=9),
        farm.by,
        tank=tank,
        to_tank=other,
        what=What.SWITCHED,
    )


@quick
@example(DAY, [6], 0, True)
@given(doings(), st.lists(st.integers(0, 8), max_size=3), st.integers(0, 40), st.booleans())
def test_a_time_line_is_every_entry_of_its_tanks_since_its_start(done, struck, slot, to_the_end):
    def work() -> None:
        farm = written(done, range(len(done)), struck)
        others(farm)
        since = FIRST + timedelta(minutes=30 * slot)
        before = timeline.END if to_the_end else since + timedelta(hours=6)
        line = timeline.read([farm.tanks[0].pk], since, before)
        flows, washes = looked_up(line, before)
        assert (line.flows, set(line.washes)) == (flows, washes)
        left = {tank: (lot.key, lot.left) for tank, lot in line.standing.items()}
        assert left == stood(line)
        rows = MilkLot.objects.order_by("opened_at", "pk")
        wanted = [
            row
            for row in rows
            if row.tank_id in line.starts and row.opened_at >= line.starts[row.tank_id]
        ]
        assert [vars_of(row) for row in lot_rows.book_of(line)] == list(map(vars_of, wanted))

    undone(work)


def vars_of(row: MilkLot) -> dict[str, Any]:
    return {name: getattr(row, name) for name in lot_rows.ATTRIBUTES}


@quick
@example(DAY, [])
@example(DAY, [1, 6])
@given(doings(), st.lists(st.integers(0, 8), max_size=3))
def test_the_computed_rows_and_the_vats_of_every_lot(done, struck):
    def work() -> None:
        written(done, range(len(done)), struck)
        every = list(MilkLot.objects.values_list("pk", flat=True))
        rows = lot_rows.read_rows(every)
        edges = LotParent.objects.all()
        assert rows.parents == {(edge.lot_id, edge.parent_id): edge.kg for edge in edges}
        assert rows.void == {edge.parent_id for edge in edges if edge.parent.void}
        draws = {}
        for draw in LotDraw.objects.all():
            named = {
                kind: getattr(draw, f"{kind}_id")
                for kind in ("vat_fill", "tray", "tank_event", "delivery")
                if getattr(draw, f"{kind}_id") is not None
            }
            ((kind, number),) = named.items()
            draws[draw.lot_id, kind, number] = (draw.at, draw.kg)
        assert rows.draws == draws
        for lot in every:
            below = LotDraw.objects.filter(lot__in=descendants([lot]))
            fills = Q(pk__in=below.values("vat_fill")) | Q(tray__in=below.values("tray"))
            vats = set(VatFill.objects.filter(fills).values_list("vat", flat=True))
            assert closure.vats_below([lot]) == vats

    undone(work)


@quick
@given(doings(), st.lists(st.integers(0, 8), max_size=2))
def test_the_end_is_asked_for_of_every_draw_that_may_have_gone_on(done, struck):
    def work() -> None:
        farm = written(done, range(len(done)), struck)
        ends = FIRST + timedelta(days=2)
        number = open_ends.ask_for_ends(farm.tanks, FIRST, ends)
        slugs = {"vat-fills": VatFill, "trays": Tray, "deliveries": Delivery}
        unsure = {
            f"end-of-draw:{slug}:{entry.uuid}"
            for slug, model in slugs.items()
            for entry in model.objects.filter(struck_at=None, ended_at=None)
            if any(not draw.kg for draw in entry.draws.all())
        }
        asked = Notice.objects.filter(closed_at=None, cause__startswith=open_ends.PREFIX)
        assert set(asked.values_list("cause", flat=True)) == unsure
        assert number == len(unsure)
        # Asked about one tank only, those of the other stay asked.
        assert open_ends.ask_for_ends(farm.tanks[:1], ends, ends) == number

    undone(work)


ROWS = st.lists(
    st.tuples(
        st.one_of(st.none(), st.integers(0, 100_000)),
        st.one_of(st.none(), st.integers(0, 32_767)),
        st.sampled_from(CowMilking.Goes),
    ),
    min_size=1,
    max_size=6,
)


@quick
@given(st.lists(ROWS, min_size=1, max_size=3), st.booleans())
def test_new_rows_come_as_rows_that_come_one_milking_after_the_other(sessions, drawn):
    """By COPY into new milkings, beside the statement that leaves rows alone that are there."""
    columns = ("animal", "lot", "upload", "grams", "at_s", "goes")

    def work() -> None:
        tank = milk.make_tank()
        cows = [make_animal() for _ in range(6)]
        told: dict[str, list[Any]] = defaultdict(list)
        milked: list[tuple[Milking, list[CowRow]]] = []
        for number, rows in zip(count(), sessions):
            at = milk.EVENING + timedelta(days=number)
            made = milk.make_milking(tank=tank, at=at, minutes=60, kg=500)
            if drawn:
                milk.fill(tank=tank, at=at + timedelta(minutes=20), kg=10)
            read = [
                CowRow(animal=cow, grams=grams, at_s=at_s, goes=goes)
                for cow, (grams, at_s, goes) in zip(cows, rows, strict=False)
            ]
            milked.append((made, read))
        for way in ("one by one", "at once"):
            if way == "at once":
                insert_new(milked)
            else:
                assert [insert_rows(*one) for one in milked] == [len(rows) for _, rows in milked]
            for milking, _ in milked:
                found = CowMilking.objects.filter(milking=milking).order_by("animal")
                came = MeterArrival.objects.filter(milking=milking)
                told[way] += [*found.values_list(*columns), *came.values_list("animals")]
            taken_back()
        assert told["one by one"] == told["at once"]

    undone(work)


def taken_back() -> None:
    """Take the meter rows out of the book again, which only a test may."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute("DELETE FROM milk_cowmilking")
        cursor.execute("DELETE FROM milk_meterarrival")
        cursor.execute("SET LOCAL session_replication_role = origin")
