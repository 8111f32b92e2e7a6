"""What the lists of the barn read fast, against slow obvious forms on random herds."""

import random
from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from hypothesis import given
from hypothesis import strategies as st

from config.days import local_day
from config.entries import strike
from herd import reference
from herd.breeding import (
    DOUBT,
    EMPTY,
    IN_CALF,
    RULE_NAMES,
    Check,
    Life,
    Rules,
    Standing,
    carrying,
    due_dates,
    standing,
    to_be_served,
)
from herd.breeding_rules import breeds
from herd.hints import little_milk
from herd.lives import EVER, LOOK_BACK, SERVICES, breed_code, lives
from herd.models import (
    BreedingDecision,
    BreedRule,
    Calving,
    Course,
    Dose,
    DryOff,
    Heat,
    PregnancyCheck,
    Recording,
    Service,
)
from herd.next_doses import FORGOTTEN, next_dose, next_doses
from herd.seen import Milked, meters, register
from tests.factories.herd import (
    DAY,
    HOUR,
    NOON,
    make,
    make_animal,
    make_course,
    make_dose,
    make_group,
    make_recording,
    make_stamp,
    make_user,
    put_in_group,
)
from tests.plans import explained

TODAY = date(2026, 6, 2)


def some_time(dice: random.Random):
    """Within the look-back, before it, and after NOON; often near the estate's midnight."""
    days = dice.choice([dice.uniform(-1200, 5), dice.randrange(-1100, 3) - 12 / 24])
    return NOON + timedelta(days=days, minutes=dice.choice([-1, 0, 1]))


@pytest.fixture
def bred(rules):
    """Eight cows of several breeds with a chancy past, some of it struck."""
    dice, by = random.Random(7), make_user()
    for row in reference.breeds():
        make(BreedRule, **row)
    cows = [make_animal(breed=dice.choice(["BS", "bsw", "HOL", "", "?"])) for _ in range(8)]
    kinds: dict[Any, Any] = {
        Calving: lambda cow: {"dam": cow},
        Service: lambda cow: {"animal": cow, "bull": "straw"},
        Heat: lambda cow: {"animal": cow},
        DryOff: lambda cow: {"animal": cow, "cover": "none"},
        BreedingDecision: lambda cow: {"animal": cow, "serve": dice.random() < 0.5},
        PregnancyCheck: lambda cow: {
            "animal": cow,
            "way": "scan",
            "result": dice.choice(["in calf", "empty", "doubt"]),
            "days": dice.choice([None, 35]),
        },
    }
    for cow in cows[:-1]:
        for model, given_of in kinds.items():
            for _ in range(dice.randrange(5)):
                entry = make(model, at=some_time(dice), **given_of(cow))
                if dice.random() < 0.2:
                    strike(entry, by=by, reason="animal", hanging_may_stay=True)
    return cows


def slow_life(cow, now) -> Life:
    """What was written of one cow, model by model."""

    def entries(related, since):
        found = [one for one in related.all() if one.struck_at is None and one.happened_at <= now]
        found = [one for one in found if since is None or one.happened_at > since]
        return sorted(found, key=lambda one: (one.happened_at, one.pk))

    def days(related, since=None):
        return tuple(local_day(one.happened_at) for one in entries(related, since))

    begin = now - LOOK_BACK
    return Life(
        calvings=days(cow.calvings),
        services=days(cow.services, begin),
        checks=tuple(
            Check(local_day(one.happened_at), one.result, one.days)
            for one in entries(cow.pregnancy_checks, begin)
        ),
        heats=days(cow.heats, begin),
        dry_offs=days(cow.dry_offs, begin),
        decisions=tuple(
            (local_day(one.happened_at), one.serve) for one in entries(cow.breeding_decisions, None)
        ),
        breed=breeds().get(breed_code(cow.breed), ()),
    )


@pytest.mark.parametrize("now", [NOON, NOON - 400 * DAY, NOON - 12 * HOUR])
def test_lives_are_what_was_written(bred, now):
    found = lives([cow.pk for cow in bred], now)
    assert found == {cow.pk: slow_life(cow, now) for cow in bred}
    assert any(life.calvings and life.services and life.checks for life in found.values())


def test_lives_of_nobody_and_in_eight_statements(bred, django_assert_num_queries):
    assert lives([], NOON) == {}
    with django_assert_num_queries(8):
        lives([cow.pk for cow in bred], NOON)


def nodes(plan: dict[str, Any]) -> Iterator[dict[str, Any]]:
    yield plan
    for inner in plan.get("Plans", []):
        yield from nodes(inner)


def test_one_cows_life_is_read_without_the_herds_years(rules):
    by = make_user()
    cows = [make_animal() for _ in range(40)]
    stamp = make_stamp(by)
    Service.objects.bulk_create(
        Service(**{**stamp.columns(), "happened_at": NOON - day * DAY}, animal=cow, bull="straw")
        for cow in cows
        for day in range(50)
    )
    values = {"animals": [cows[0].pk], "zone": "UTC", "since": EVER, "now": NOON}
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE herd_service")
    plan = explained(SERVICES, values)
    (read,) = (node for node in nodes(plan) if node.get("Relation Name") == "herd_service")
    assert read["Node Type"] != "Seq Scan"
    assert read["Actual Rows"] == 50
    assert read.get("Rows Removed by Filter", 0) == 0


def slow_standing(life: Life, today: date, rules) -> Standing:
    """Where she stands, every day looked at one by one."""

    def since(days):
        return tuple(day for day in days if day <= today and (calved is None or day > calved))

    calved = max((day for day in life.calvings if day <= today), default=None)
    checks = [one for one in life.checks if one.on in since([one.on])]
    state, fertile, sure = carrying(since(life.services), checks, rules)
    return Standing(
        state=state,
        calved=calved,
        fertile=fertile,
        due=tuple(due_dates(fertile, life.breed, heifer=calved is None)),
        sure=sure,
        services=since(life.services),
        check=checks[-1] if checks else None,
        heat=max(since(life.heats), default=None),
        dry_since=max(since(life.dry_offs), default=None),
        serve=to_be_served(life.decisions, today),
    )


DAYS = st.dates(TODAY - timedelta(days=60), TODAY + timedelta(days=9))
SORTED = st.lists(DAYS, max_size=4).map(lambda days: tuple(sorted(days)))
CHECKS = st.lists(
    st.builds(Check, DAYS, st.sampled_from([IN_CALF, EMPTY, DOUBT]), st.sampled_from([None, 30])),
    max_size=4,
).map(lambda checks: tuple(sorted(checks, key=lambda one: one.on)))
LIVES = st.builds(
    Life,
    calvings=SORTED,
    services=SORTED,
    checks=CHECKS,
    heats=SORTED,
    dry_offs=SORTED,
)


@pytest.fixture(scope="module")
def judged():
    """The rules of breeding as every estate starts with them."""
    from_reference = {row["name"]: row["value"] for row in reference.rules()}
    return Rules(**{field: int(from_reference[name]) for field, name in RULE_NAMES.items()})


@given(life=LIVES)
def test_standing_is_what_a_look_at_every_day_says(judged, life):
    assert standing(life, TODAY, judged) == slow_standing(life, TODAY, judged)


def test_next_doses_are_those_of_every_course(rules):
    dice, by, group = random.Random(3), make_user(), make_group(4)
    for _ in range(12):
        cow = make_animal()
        put_in_group(cow, group)
        begin = NOON - dice.randrange(0, 12) * DAY
        course = make_course(cow, doses=3, interval_hours=24, happened_at=begin)
        for number in range(dice.randrange(4)):
            dose = make_dose(course, begin + number * DAY)
            if dice.random() < 0.3:
                strike(dose, by=by, reason="animal", hanging_may_stay=True)
    until = NOON + DAY
    expected = set()
    for course in Course.objects.filter(struck_at=None):
        written = Dose.objects.filter(course=course, struck_at=None).order_by("happened_at")
        due = next_dose(course, written, {course.animal_id: group})
        if due and NOON - FORGOTTEN < due.at < until:
            expected.add((course.pk, due.at, due.number))
    found = {(due.course.pk, due.at, due.number) for due in next_doses(NOON, until)}
    assert found == expected
    assert 2 < len(found) < 12


class Read:
    """Meters that read what they are told."""

    def __init__(self, of_day):
        self.told = of_day

    def of_day(self, animals, at):
        return {animal: milked for animal, milked in self.told.items() if animal in animals}


@pytest.fixture
def read():
    """Have other meters asked for a while."""
    before = meters()
    yield lambda of_day: register(Read(of_day))
    register(before)


def test_little_milk_by_the_meter_else_by_the_last_recording_of_a_whole_day(rules, read):
    dice, by = random.Random(5), make_user()
    cows = [make_animal() for _ in range(24)]
    for cow in cows:
        for _ in range(dice.randrange(4)):
            when = NOON - dice.uniform(-2, 40) * DAY
            kg = dice.choice([None, "1.9", "2.0", "2.06", "2.1", "25"])
            fields_of = {"milk_kg": None if kg is None else Decimal(kg), "happened_at": when}
            one = make_recording(cow, session=dice.choice(["", "", "M"]), **fields_of)
            if dice.random() < 0.2:
                strike(one, by=by, reason="animal", hanging_may_stay=True)
    by_meter = {
        cow.pk: Milked(NOON - HOUR, Decimal(("1.5", "20")[place % 2]))
        for place, cow in enumerate(dice.sample(cows, 6))
    }
    read(by_meter)
    expected = {}
    for cow in cows:
        whole = Recording.objects.filter(
            animal=cow, struck_at=None, session="", milk_kg__isnull=False, happened_at__lte=NOON
        ).filter(happened_at__gt=NOON - 35 * DAY)
        last = max(whole, key=lambda one: one.happened_at, default=None)
        said = by_meter[cow.pk].kg if cow.pk in by_meter else last and last.milk_kg
        if said is not None and said < Decimal("2.06"):
            where = "meter" if cow.pk in by_meter else "record"
            expected[cow.pk] = f"{said:.1f} kg a day ({where}"
    found = little_milk(NOON, [cow.pk for cow in cows])
    assert found.keys() == expected.keys()
    assert all(found[pk].startswith(words) for pk, words in expected.items())
    assert {"meter", "record"} <= {words.split("(")[1] for words in expected.values()}
