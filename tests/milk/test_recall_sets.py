"""The wheels a recall finds, and the second ring apart from them, against networkx.

On random farms whose whey goes on in cans, and on the graphs made outside the project (see
``test_trace_graphs``). The oracle is ``networkx.descendants`` over milk alone; the second ring is
whatever one can of starter further holds whey of a vat below.
"""

from datetime import timedelta
from typing import Any

import networkx as nx
import pytest
from django.db import transaction
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from milk.models import StarterCan, Vat, Wheel, WheyAdded
from milk.recalls import Board, preview
from tests.factories import milk
from tests.factories.years import unchecked
from tests.milk.random_farm import ACTIONS, Farm, make_farm
from tests.milk.test_trace_graphs import FILE, GRAPHS, write

pytestmark = pytest.mark.django_db

# A can: the vats its whey is of, and the vats begun with it. 0 to 2 are the farm's, 3 to 5 are made
# of milk of nobody, the days after.
PLACES = st.integers(0, 5)
CANS = st.lists(
    st.tuples(
        st.lists(PLACES, min_size=1, max_size=3, unique=True),
        st.lists(st.integers(3, 5), max_size=2, unique=True),
    ),
    max_size=4,
)
MILKED = [("meter", 0, 0, 40, 10), ("vat", 0, 0, 25), ("vat", 0, 1, 25), ("washed", 0)]
# One can of two vats that goes to two; one with a third vat's whey; one nobody has used.
SEVERAL = [([0, 1], [3, 4]), ([4, 3], [5]), ([1], [])]


class Hall:
    """A farm's vats with wheels, later vats, and the cans between them; ``whey`` is the graph."""

    def __init__(self, farm: Farm, cans: list[tuple[list[int], list[int]]]) -> None:
        self.farm, self.whey = farm, nx.DiGraph()
        self.vats: dict[int, Vat] = dict(farm.vats)
        later = farm.at + timedelta(days=1)
        for number in range(3, 6):
            self.vats[number] = milk.plain(
                Vat, later + timedelta(days=number), None, day=later.date(), number=number + 1
            )
        self.cans = [self.fill(*can) for can in cans]
        self.wheels = {number: {self.wheel(number, twin) for twin in "AB"} for number in self.vats}

    def wheel(self, number: int, twin: str) -> int:
        fields = {"vat": self.vats[number], "plate": f"{number}{twin}", "twin": twin}
        made: Wheel = milk.plain(Wheel, self.farm.at, None, **fields)
        return made.pk

    def fill(self, of: list[int], into: list[int]) -> StarterCan | None:
        """A can with whey of vats; each vat is begun with one can, the first that is offered."""
        of = [number for number in of if number in self.vats]
        if not of:
            return None
        at = self.farm.at
        fields = {"can": "1", "from_vat": self.vats[of[0]], "litres": 30}
        can: StarterCan = milk.plain(StarterCan, at, None, **fields)
        for number in of[1:]:
            milk.plain(WheyAdded, at, None, can=can, vat=self.vats[number])
        self.whey.add_edges_from((("vat", number), ("can", can.pk)) for number in of)
        for number in into:
            if self.vats[number].starter_can_id is None:
                # Past the triggers: a can of a later vat may go back into an earlier one here.
                with unchecked():
                    Vat.objects.filter(pk=self.vats[number].pk).update(starter_can=can)
                self.vats[number].starter_can_id = can.pk
                self.whey.add_edge(("can", can.pk), ("vat", number))
        return can

    def told(self, board: Board) -> dict[str, set[int]]:
        """What a recall has, with the vats by their numbers here."""
        assert board.below is not None
        vats = {vat.uuid: number for number, vat in self.vats.items()}
        return {
            "wheels": {row.wheel.pk for row in board.rows},
            "vats": {vats[vat.uuid] for vat in board.below.vats},
            "cans": {can.pk for can in board.below.cans},
            "ring": {vats[vat.uuid] for vat in board.below.ring},
        }

    def made_of(self, first: set[int]) -> dict[str, set[int]]:
        """The wheels of these vats and no others; their cans and what was begun with them apart."""
        cans = self.after(first)
        ring = {number for can in cans for _, number in self.next(("can", can))}
        return {
            "wheels": {wheel for number in first for wheel in self.wheels[number]},
            "vats": first,
            "cans": cans,
            "ring": ring - first,
        }

    def after(self, first: set[int]) -> set[int]:
        return {can for number in first for _, can in self.next(("vat", number))}

    def next(self, node: tuple[str, int]) -> set[tuple[str, int]]:
        return set(self.whey.successors(node)) if node in self.whey else set()


@example(actions=MILKED, cans=SEVERAL)
@settings(
    max_examples=3,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(actions=ACTIONS, cans=CANS)
def test_the_wheels_of_a_recall_on_a_random_farm(
    actions: list[Any], cans: list[tuple[list[int], list[int]]]
) -> None:
    with transaction.atomic():
        farm = make_farm().play(actions)
        hall = Hall(farm, cans)
        now = farm.at + timedelta(days=30)
        for animal in (animal for animals in farm.cows.values() for animal in animals):
            origin = ("animal", animal.pk)
            below = nx.descendants(farm.graph, origin) if origin in farm.graph else set()
            first = {node[1] for node in below if node[0] == "vat"}
            assert hall.told(preview("animal", animal.uuid, at=now)) == hall.made_of(first)
        for number, vat in hall.vats.items():
            assert hall.told(preview("vat", vat.uuid, at=now)) == hall.made_of({number})
        for can in filter(None, hall.cans):
            begun = {number for _, number in hall.next(("can", can.pk))}
            assert hall.told(preview("can", can.uuid, at=now)) == hall.made_of(begun)
        transaction.set_rollback(True)


def test_a_can_of_several_vats_goes_to_all_it_was_used_for() -> None:
    """A can begun in the second round, with whey added of another vat, used for three vats."""
    first = milk.make_vat(number=1, round=2)
    other = milk.make_vat(number=2, round=2)
    at = first.happened_at + timedelta(hours=4)
    can = milk.plain(StarterCan, at, None, can="2", from_vat=first, litres=30)
    milk.plain(WheyAdded, at, None, can=can, vat=other)
    unused = milk.plain(StarterCan, at, None, can="3", from_vat=other, litres=30)
    day = first.happened_at + timedelta(days=1)
    begun = [milk.make_vat(at=day, number=n, starter_can=can) for n in (1, 2, 3)]
    wheels = {milk.make_wheel(vat=vat).pk for vat in begun}
    now = day + timedelta(days=9)
    assert {row.wheel.pk for row in preview("can", can.uuid, at=now).rows} == wheels
    for vat, cans in ((first, [can.pk]), (other, [can.pk, unused.pk])):
        below = preview("vat", vat.uuid, at=now).below
        assert below is not None
        assert [one.pk for one in below.cans] == cans
        assert [one.name for one in below.cans] == [str(one) for one in (can, unused)][: len(cans)]
        assert {one.uuid for one in below.ring} == {vat.uuid for vat in begun}


@pytest.mark.skipif(not FILE.exists(), reason=f"no {FILE}: set SWARDLINE_SHARED to see it")
@pytest.mark.parametrize("graph", GRAPHS, ids=lambda graph: f"seed {graph['seed']}")
def test_the_wheels_of_a_recall_are_those_of_the_graph(graph: dict[str, Any]) -> None:
    written = write(graph["edges"])
    oracle = nx.DiGraph(graph["edges"])
    kinds = {"F": "batch", "C": "animal", "L": "lot", "V": "vat"}
    at = milk.EVENING + timedelta(days=400)
    names = sorted(name for name in oracle if name[0] in kinds)
    for name in [*(name for name in graph["forward"] if name[0] in kinds), *names[::23]]:
        expected = {one for one in nx.descendants(oracle, name) if one[0] == "W"}
        if name in graph["forward"]:
            assert expected == {one for one in graph["forward"][name] if one[0] == "W"}
        board = preview(kinds[name[0]], written.things[name].uuid, at=at)
        assert {row.wheel.plate for row in board.rows} == expected, name
