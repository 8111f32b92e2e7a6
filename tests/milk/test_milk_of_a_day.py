"""The milk of each cow's last day at the meter, against every row looked at one by one."""

import random
from datetime import timedelta
from decimal import Decimal

import pytest

from config.entries import strike
from herd.seen import Milked, meters
from milk.models import CowMilking
from tests.factories.herd import DAY, HOUR, NOON, make_animal, make_group, make_user
from tests.factories.milk import make_milking, make_tank

pytestmark = pytest.mark.django_db


def slow_day(animals, at) -> dict[int, Milked]:
    found = {}
    for animal in animals:
        rows = [
            (row.milking.happened_at, Decimal(row.grams) / 1000)
            for row in CowMilking.objects.filter(animal=animal).select_related("milking")
            if row.grams is not None
            and row.milking.struck_at is None
            and at - 3 * DAY <= row.milking.happened_at <= at
        ]
        if not rows:
            continue
        last = max(when for when, _ in rows)
        of_day = [kg for when, kg in rows if last - when < 24 * HOUR]
        if len(of_day) > 1:
            found[animal] = Milked(last, sum(of_day, Decimal(0)))
    return found


@pytest.mark.parametrize("seed", range(4))
def test_milk_of_a_day_is_every_row_of_it(seed):
    dice, by = random.Random(seed), make_user()
    tank = make_tank()
    cows = [make_animal() for _ in range(6)]
    for number in range(14):
        # Some exactly a day apart; one after the moment asked for.
        at = NOON + 6 * HOUR - number * 8 * HOUR + timedelta(minutes=dice.choice([0, 0, 40]))
        there = [cow for cow in cows if dice.random() < 0.8]
        weights = [(cow, dice.choice([None, "0.4", "9.35", "14", "15"])) for cow in there]
        milking = make_milking(at=at, group=make_group(milked=False), tank=tank, cows=weights)
        if dice.random() < 0.2:
            strike(milking, by=by, reason="animal", hanging_may_stay=True)
    asked = [cow.pk for cow in cows[:-1]]
    found = meters().of_day(asked, NOON)
    assert found == slow_day(asked, NOON)
    assert found


def test_nobody_metered_is_nothing_known():
    assert meters().of_day([make_animal().pk], NOON) == {}
