"""Years of an estate's entries, written by COPY: the same years and seed give the same facts.

Facts only: cows, stays, doses, loads, feedings, milkings, washes, fills, vats, wheels, results.
What follows from them (lots and their links, withdrawal periods, deadlines) is computed by the
services that always do, so a benchmark reads what the program itself would have written. On
purpose there are tanks topped up between two draws, milk carried over into the next evening, lots
over their limits, doses written two days late, loads fed after their time, and groups without
meters.
"""

from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from decimal import Decimal
from time import perf_counter
from typing import Any

from django.db import connection, models, transaction
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange

from config.copying import copy_rows
from config.days import estate_zone
from feed.models import Feeding, Field, ForageBatch
from feed.services import deadlines
from herd.models import (
    Animal,
    Course,
    Dose,
    Group,
    GroupStay,
    Medicine,
    MedicineVersion,
    MilkingTime,
    Recording,
)
from herd.services import recordings, withdrawals
from milk.bench.book import BETWEEN_GROUPS, EVENING, GROUPS, MORNING, STAY_DAYS, Row, Years, copied
from milk.bench.dairy import milk, tested
from milk.demo import people
from milk.demo.estate import Estate
from milk.models import (
    CowMilking,
    LotTest,
    Milking,
    MilkLot,
    Tank,
    Vat,
    VatFill,
    Wheel,
)

LOADS, FED_TO = 6, 7
COURSES_A_YEAR, DOSES, APART = 1.5, 3, timedelta(hours=12)
MILK_HOURS = 84
# One course in thirty is written late, one load in fifty fed after its time.
LATE_COURSE, WRITTEN_LATE, LATE_LOAD = 30, timedelta(hours=49), 50


@transaction.atomic
def write_years(years: Years) -> None:
    """Write the facts, and have what follows from them computed."""
    with connection.cursor() as cursor:
        # The rows agree with each other; looked up one by one they would take an hour.
        cursor.execute("SET LOCAL session_replication_role = replica")
    steps: tuple[tuple[str, Callable[[Years], Any]], ...] = (
        ("people, rules, groups", frame),
        ("animals and stays", herd),
        ("recordings", recorded),
        ("courses and doses", treated),
        ("withdrawal periods", lambda _: withdrawals.rebuild_all()),
        ("loads and feedings", grass),
        ("milkings, vats, wheels, lots", milk),
        ("laboratory results", tested),
    )
    for words, step in steps:
        began = perf_counter()
        step(years)
        years.say(f"{words}: {perf_counter() - began:.0f} s")
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = origin")
        cursor.execute("ANALYZE")


def frame(years: Years) -> None:
    """Who writes, the rules of the book, the groups with their times, and the tanks."""
    estate = Estate(now=years.first - timedelta(days=1), zone=estate_zone(), seed=years.seed)
    people.make_people(estate)
    people.make_rules(estate)
    years.by = estate.people["vet"].pk
    at = years.first - timedelta(hours=12)
    numbers = range(1, GROUPS + 1)
    years.groups = copied(
        Group, (years.fact(at, number=one, use="milking", walk_place=one) for one in numbers)
    )
    copy_rows(MilkingTime, planned(years, at))
    rows = (
        years.fact(at, name=name, capacity_kg=Decimal(40_000), use="receiving") for name in "ABC"
    )
    years.tanks = dict(zip("ABC", copied(Tank, rows), strict=True))


def planned(years: Years, at: datetime) -> Iterator[Row]:
    for place, group in enumerate(years.groups):
        for session, starts in (("M", MORNING), ("E", EVENING)):
            planned_at = (years.first + starts + place * BETWEEN_GROUPS).astimezone(estate_zone())
            yield years.fact(
                at,
                group_id=group,
                session=session,
                starts=planned_at.time(),
                valid_from=years.first.date(),
                line="C" if session == "E" else "AB"[place >= GROUPS // 2],
            )


def herd(years: Years) -> None:
    at = years.first - timedelta(hours=12)
    years.animals = copied(
        Animal,
        (
            years.fact(
                at,
                ear_tag=f"999{number:012d}",
                farm_number=number,
                breed="BSW",
                sex="F",
                born_on=date(2010, 1, 1),
            )
            for number in range(1001, 1001 + years.cows)
        ),
    )
    copy_rows(GroupStay, stays(years))


def stays(years: Years) -> Iterator[Row]:
    """Every cow in the groups one after the other, the last stay without an end."""
    for start in range(0, years.days, STAY_DAYS):
        since = years.day(start) - timedelta(hours=12)
        last = start + STAY_DAYS >= years.days
        until = None if last else years.day(start + STAY_DAYS) - timedelta(hours=12)
        for cow, animal in enumerate(years.animals):
            group = years.groups[years.group_of(cow, start) - 1]
            during = DateTimeTZRange(since, until, "[)")
            yield years.fact(since, animal_id=animal, group_id=group, during=during)


def recorded(years: Years) -> None:
    """Every cow's contents and cells once a month."""
    dice = years.dice
    copy_rows(
        Recording,
        (
            years.fact(
                years.day(day) + EVENING,
                animal_id=animal,
                milk_kg=round(dice.gauss(24, 4), 1),
                fat=Decimal(str(round(dice.gauss(4.0, 0.3), 2))),
                protein=Decimal(str(round(dice.gauss(3.4, 0.2), 2))),
                cells=max(10, round(dice.lognormvariate(4.6, 0.9))),
            )
            for day in range(15, years.days, 30)
            for animal in years.animals
        ),
    )
    recordings.set_valid_to(years.animals)


def treated(years: Years) -> None:
    """Courses of three tubes; some are written only when the milk was made into cheese."""
    at = years.first - timedelta(hours=12)
    (medicine,) = copied(
        Medicine,
        [years.fact(at, name="Demolactin tubes", actives="an invented penicillin", unit="tube")],
    )
    copy_rows(
        MedicineVersion,
        [
            years.fact(
                at,
                medicine_id=medicine,
                valid_from=years.first.date(),
                milk="hours",
                milk_hours=Decimal(MILK_HOURS),
                meat_days=10,
                source="invented for the benchmark",
            )
        ],
    )
    ordered = list(orders(years))
    courses = copied(Course, (course_of(years, medicine, *one) for one in ordered))
    copy_rows(Dose, doses(years, courses, ordered))


def orders(years: Years) -> Iterator[tuple[int, datetime, timedelta]]:
    """(cow by her place, first dose, written after) of every course, day by day."""
    each, ordered = COURSES_A_YEAR * years.cows / 365, 0
    for day in range(years.days):
        number = int(each) + (years.dice.random() < each % 1)
        for cow in years.dice.sample(range(years.cows), number):
            ordered += 1
            late = ordered % LATE_COURSE == LATE_COURSE // 2
            begin = years.day(day) + timedelta(hours=8, minutes=years.dice.randrange(240))
            if not late:
                until = begin + (DOSES - 1) * APART + timedelta(hours=MILK_HOURS)
                years.out.setdefault(cow, []).append((begin, until))
            yield cow, begin, WRITTEN_LATE if late else timedelta(minutes=4)


def course_of(years: Years, medicine: int, cow: int, begin: datetime, written: timedelta) -> Row:
    return years.fact(
        begin,
        written,
        animal_id=years.animals[cow],
        medicine_id=medicine,
        diagnosis="mastitis",
        route="udder",
        dose=Decimal(1),
        doses=DOSES,
        interval_hours=12,
        prescriber="the vet",
    )


def doses(
    years: Years, courses: list[int], ordered: list[tuple[int, datetime, timedelta]]
) -> Iterator[Row]:
    for course, (_, begin, written) in zip(courses, ordered, strict=True):
        for number in range(DOSES):
            at = begin + number * APART
            yield years.fact(
                at, written, course_id=course, quantity=Decimal(1), quarter="LF", batch="B-1"
            )


def grass(years: Years) -> None:
    """Six loads a day, each to seven groups; one in fifty is fed after its time."""
    at = years.first - timedelta(hours=12)
    names = [f"Field {number}" for number in range(1, 13)]
    fields = copied(Field, (years.fact(at, name=name, hectares=Decimal(12)) for name in names))
    cuts = [
        years.day(day) + timedelta(hours=4 + 2 * load)
        for day in range(years.days)
        for load in range(LOADS)
    ]
    batches = copied(
        ForageBatch,
        (
            years.fact(cut, field_id=fields[number % len(fields)], kg=Decimal(400 * FED_TO))
            for number, cut in enumerate(cuts)
        ),
    )
    copy_rows(Feeding, feedings(years, batches, cuts))
    deadlines.recompute_all()


def feedings(years: Years, batches: list[int], cuts: list[datetime]) -> Iterator[Row]:
    for number, (batch, cut) in enumerate(zip(batches, cuts, strict=True)):
        late = number % LATE_LOAD == LATE_LOAD - 1
        begin = cut + (timedelta(hours=30) if late else timedelta(hours=1))
        first = number % 2 * FED_TO
        for place in range(first, first + FED_TO):
            at = begin + (place - first) * timedelta(minutes=4)
            yield years.fact(at, batch_id=batch, group_id=years.groups[place], kg=Decimal(400))


def counts() -> Iterator[tuple[str, int]]:
    """How many rows of each kind the book holds."""
    kinds: tuple[type[models.Model], ...] = (
        Animal, GroupStay, Recording, Course, Dose, ForageBatch, Feeding, Milking, CowMilking,
        MilkLot, Vat, VatFill, Wheel, LotTest,
    )  # fmt: skip
    for model in kinds:
        yield str(model._meta.verbose_name_plural), model._base_manager.count()
