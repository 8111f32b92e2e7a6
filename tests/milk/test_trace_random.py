"""The trace on random farms, against a plain reference without lots and against networkx."""

from typing import Any

import networkx as nx
import pytest
from django.db import transaction
from hypothesis import HealthCheck, example, given, settings

from milk.trace import back, forward
from tests.milk.random_farm import ACTIONS, Farm, make_farm

pytestmark = pytest.mark.django_db
# Vats and lots are kept to the gram; a kilo passes through a few of them.
NEAR = 0.05

# A tank drawn below nothing and filled again; milk there and back; a tray of two mixtures; milk
# moved out of a tank that held none.
OVERDRAWN = [("meter", 0, 0, 5, 5), ("vat", 0, 0, 30), ("group", 0, 20, True), ("vat", 0, 1, 10)]
THERE_AND_BACK = [
    ("meter", 0, 0, 40, 10),
    ("moved", 0, 30),
    ("group", 1, 30, False),
    ("moved", 1, 20),
    ("vat", 0, 0, 30),
    ("washed", 0),
    ("in", 0, 50),
    ("vat", 0, 0, 20),
]
FROM_NOWHERE = [("meter", 0, 0, 16, 53), ("moved", 1, 11), ("vat", 0, 0, 49)]
TRAYS = [
    ("group", 0, 60, False),
    ("tray", 0, 30, True),
    ("unweighed", 0, 1, 20, 20),
    ("tray", 0, 30, False),
    ("pour", 0, 0),
    ("pour", 1, 0),
    ("vat", 0, 0, 15),
]


@example(actions=OVERDRAWN)
@example(actions=THERE_AND_BACK)
@example(actions=TRAYS)
@example(actions=FROM_NOWHERE)
@settings(
    max_examples=12,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(actions=ACTIONS)
def test_trace_of_a_random_farm(actions: list[Any]) -> None:
    with transaction.atomic():
        farm = make_farm().play(actions)
        for number, vat in farm.vats.items():
            check_back(farm, number, vat)
        for animals in farm.cows.values():
            for animal in animals:
                check_forward(farm, animal)
        for tank in farm.tanks:
            for lot in tank.lots.all():
                assert forward("lot", lot).found.balance.closes
        transaction.set_rollback(True)


def check_back(farm: Farm, number: int, vat: Any) -> None:
    """A vat's animals and their kg, and its suppliers."""
    found = back("vat", vat).found
    expected = farm.in_vats[number]
    node = ("vat", number)
    above = nx.ancestors(farm.graph, node) if node in farm.graph else set()
    animals = {cow.pk: cow.kg for cow in found.animals}
    assert set(animals) == {origin[1] for origin in above if origin[0] == "animal"}
    for pk, kg in animals.items():
        assert kg == pytest.approx(expected.get(("animal", pk), 0.0), abs=NEAR)
    supplied = {origin for origin in above if origin[0] == "delivery"}
    lots = [lot for lot in found.lots if lot.row.suppliers]
    assert len(lots) == len(supplied)
    assert sum(lot.kg for lot in lots) == pytest.approx(
        sum(expected.get(origin, 0.0) for origin in supplied), abs=NEAR
    )
    assert found.kg == pytest.approx(sum(expected.values()), abs=NEAR)


def check_forward(farm: Farm, animal: Any) -> None:
    """Where an animal's milk went, and that nothing of it is missing or there twice."""
    found = forward("animal", animal).found
    origin = ("animal", animal.pk)
    below = nx.descendants(farm.graph, origin) if origin in farm.graph else set()
    numbers = {vat.pk: number for number, vat in farm.vats.items()}
    assert {numbers[vat.pk] for vat in found.vats} == {
        node[1] for node in below if node[0] == "vat"
    }
    for vat in found.vats:
        expected = farm.in_vats[numbers[vat.pk]].get(origin, 0.0)
        assert vat.kg.interest == pytest.approx(expected, abs=NEAR)
    assert found.balance.closes
    assert found.balance.difference.interest == pytest.approx(0, abs=NEAR)
    gave = sum(kg or 0.0 for milking in found.start.milkings for _, kg in milking.lots)
    assert found.balance.came_in.interest == pytest.approx(gave)
