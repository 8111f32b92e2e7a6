"""One cow's udder: her counts with scores, where she moved, and her yield of this lactation."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from itertools import groupby
from typing import Any

from django.db.models import QuerySet

from config.days import local_day
from herd.lactation import CORRECTED, MilkDay, Yield, lactation_yield
from herd.models import Animal, Calving, DryOff, Recording
from herd.udder import Move, Rules, Sampled, days_in_milk, move_of, one_day
from herd.udder_rules import udder_rules
from herd.udder_scores import Reading, linear_score, reading

# Fifteen years of monthly recordings, and some to spare.
MOST_TESTS = 400


@dataclass(frozen=True)
class Scored:
    """A day's test with its days in milk, linear score and what that is read as."""

    test: Sampled
    days: int | None
    score: float | None
    is_high: bool
    reading: Reading | None


@dataclass(frozen=True, kw_only=True)
class Udder:
    """What the recordings say of one cow, newest test first."""

    at: datetime
    rules: Rules
    tests: Sequence[Scored]
    move: Move | None
    calved: date | None
    dried: date | None

    @property
    def latest(self) -> Scored | None:
        return self.tests[0] if self.tests else None

    @cached_property
    def corrected(self) -> list[tuple[str, float]]:
        """The latest test's milk corrected by each formula, named; none without its contents."""
        test = self.tests[0].test if self.tests else None
        if test is None or test.kg is None or test.fat is None or test.protein is None:
            return []
        return [
            (name, formula(test.kg, test.fat, test.protein)) for name, formula in CORRECTED.items()
        ]

    @cached_property
    def lactation(self) -> Yield | None:
        """Her yield since she calved, by the test interval method; None without calving or test."""
        if self.calved is None:
            return None
        tests = [
            MilkDay(
                on=one.test.on,
                kg=float(one.test.kg),
                fat=None if one.test.fat is None else float(one.test.fat),
                protein=None if one.test.protein is None else float(one.test.protein),
            )
            for one in self.tests
            if one.test.kg is not None and one.test.on >= self.calved
        ]
        until = self.dried or local_day(self.at)
        if not tests or until <= self.calved:
            return None
        return lactation_yield(self.calved, tests, until, last_day=int(self.rules.last_day))


def udder_of(animal: Animal, at: datetime) -> Udder:
    """One cow's udder at a moment, in four statements. Conflict where rules are missing."""
    rules = udder_rules(local_day(at))
    calvings = days_of(Calving.objects.standing().filter(dam=animal), at)
    calved = max(calvings, default=None)
    dried = days_of(DryOff.objects.standing().filter(animal=animal), at)
    tests = tests_of(animal, at)
    return Udder(
        at=at,
        rules=rules,
        tests=[
            Scored(
                test,
                days_in_milk(test.on, calvings),
                linear_score(test.cells),
                test.cells is not None and test.cells >= rules.high,
                reading(test.cells, rules),
            )
            for test in tests
        ],
        move=move_of(tests, calvings, tests[0].on, rules) if tests else None,
        calved=calved,
        dried=max((day for day in dried if calved and day > calved), default=None),
    )


def tests_of(animal: Animal, at: datetime) -> list[Sampled]:
    """All her tests by then, newest first, the milkings of a day put together."""
    rows = Recording.objects.standing().filter(animal=animal, happened_at__lte=at)
    found = [
        Sampled(
            on=local_day(row.happened_at),
            cells=row.cells,
            kg=row.milk_kg,
            fat=row.fat,
            protein=row.protein,
            lactation=row.lactation,
            session=row.session,
        )
        for row in rows.order_by("-happened_at")[:MOST_TESTS]
    ]
    return [one_day(list(tests)) for _, tests in groupby(found, key=lambda test: test.on)]


def days_of(entries: QuerySet[Any], at: datetime) -> list[date]:
    """The days of entries that had happened by then."""
    moments = entries.filter(happened_at__lte=at).values_list("happened_at", flat=True)
    return [local_day(moment) for moment in moments]
