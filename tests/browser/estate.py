"""A small estate for the browser's tests, and its people."""

from datetime import timedelta
from typing import Any

from django.contrib.auth.models import User
from django.utils import timezone

from herd import reference
from herd.models import Animal, Course, PeriodRule
from tests.cast import user_in
from tests.factories.feed import make_field, make_wait_rule, make_window_rules, make_work
from tests.factories.herd import (
    make_animal,
    make_course,
    make_group,
    make_medicine,
    make_stamp,
    put_in_group,
)
from tests.factories.milk import make_tank

COWS = range(1040, 1056)
CAST = ("vet", "stockman", "milker", "feed hand", "cheesemaker")


def furnish() -> None:
    """A small estate: group 5 with some cows, a field that is free and one that is not, a tank."""
    for role in CAST:
        user_in(role)
    stamp = make_stamp()
    rows = [PeriodRule(**{**stamp.columns(), **rule}) for rule in reference.rules()]
    PeriodRule.objects.bulk_create(rows)
    group = make_group(5)
    make_group(12)
    for number in COWS:
        put_in_group(make_animal(number), group)
    make_medicine(84, name="Tube A", leaflet_doses=3, leaflet_interval=12)
    make_window_rules()
    make_wait_rule("slurry", 42)
    make_field("Long Acre")
    make_work(make_field("Stone Pit"), happened_at=timezone.now() - timedelta(days=3))
    make_tank(name="B")


def by(role: str) -> User:
    return user_in(role)


def cow(number: int) -> Animal:
    found: Animal = Animal.objects.get(farm_number=number)
    return found


def course_for(number: int, **fields: Any) -> Course:
    """A course of three tubes for a cow, begun ten hours ago."""
    from_medicine = {"doses": 3, "happened_at": timezone.now() - timedelta(hours=10)}
    medicine = make_medicine(84)
    return make_course(cow(number), medicine=medicine, **{**from_medicine, **fields})
