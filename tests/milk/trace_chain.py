"""One small chain for the tests of the trace: two groups, a tank, what was left, a vat, wheels.

Group 5 has meters (three cows), group 7 has none (four animals, one kept out). The evening's milk
goes into tank B, a part is drawn into a vat of the evening, and 10 kg are left under the morning's.
"""

from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import transaction

from herd.models import Animal, Group
from milk.models import Milking, MilkLot, Tank, Vat, Wheel
from tests.factories.herd import make_animal, make_group, put_in_group
from tests.factories.milk import (
    EVENING,
    fill,
    lots_of,
    make_milking,
    make_tank,
    make_vat,
    make_wheel,
    wash,
)

HOUR = timedelta(hours=1)
MORNING = EVENING + 12 * HOUR


@dataclass
class Chain:
    """Everything in it; ``evening`` and ``morning`` are lots, the morning's over the evening's."""

    tank: Tank
    metered: Group
    plain: Group
    cows: list[Animal]
    others: list[Animal]
    evening_milking: Milking
    plain_milking: Milking
    morning_milking: Milking
    evening: MilkLot
    morning: MilkLot
    early: Vat
    vat: Vat
    wheels: list[Wheel]


def make_chain() -> Chain:
    """The evening's 100 kg (70 and 20 into vats), 10 kg under the morning's 90 kg."""
    tank = make_tank(name="B")
    metered, plain = make_group(5), make_group(7)
    cows = [make_animal(number) for number in (1042, 1043, 1044)]
    others = [make_animal(number) for number in (2001, 2002, 2003, 2004)]
    for animal in cows:
        put_in_group(animal, metered)
    for animal in others:
        put_in_group(animal, plain)
    wash(tank, EVENING - HOUR)
    evening_milking = make_milking(
        group=metered, tank=tank, at=EVENING, cows=[(cows[0], 10), (cows[1], 20), (cows[2], 30)]
    )
    plain_milking = make_milking(
        group=plain,
        tank=tank,
        at=EVENING + HOUR / 2,
        kg=40,
        kept_out=[others[3]],
    )
    early = make_vat(at=EVENING + 3 * HOUR)
    fill(early, tank=tank, kg=70)
    other = make_vat(at=EVENING + 4 * HOUR)
    fill(other, tank=tank, kg=20)
    morning_milking = make_milking(
        group=metered, tank=tank, at=MORNING, cows=[(cows[0], 40), (cows[1], 50)]
    )
    vat = make_vat(at=MORNING + 2 * HOUR)
    fill(vat, tank=tank, kg=80)
    wheels = [make_wheel(vat=vat, kg=30), make_wheel(vat=vat, kg=10)]
    evening, morning = lots_of(tank)
    return Chain(
        tank=tank,
        metered=metered,
        plain=plain,
        cows=cows,
        others=others,
        evening_milking=evening_milking,
        plain_milking=plain_milking,
        morning_milking=morning_milking,
        evening=evening,
        morning=morning,
        early=early,
        vat=vat,
        wheels=wheels,
    )


def kilos(value: object) -> Decimal:
    """A float of a trace, to the gram."""
    return Decimal(str(round(float(str(value)), 3)))


@pytest.fixture(scope="module")
def chain_once(django_db_setup: None, django_db_blocker: Any) -> Iterator[Chain]:
    """The chain, written once for all tests of a module and taken back after them."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield make_chain()
        transaction.set_rollback(True)


@pytest.fixture
def chain(chain_once: Chain, db: None) -> Chain:
    """The chain as it was written; what a test does to it is taken back."""
    return deepcopy(chain_once)
