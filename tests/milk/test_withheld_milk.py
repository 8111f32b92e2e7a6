"""Which lots hold withheld milk: two fast reads against one slow, plain loop, on random farms."""

import random
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from psycopg.types.range import TimestamptzRange

from herd.models import Animal, Group, GroupStay, WithdrawalPeriod
from milk.models import CowMilking, Milking, MilkingPart, MilkLot, Tank
from milk.withheld_milk import Row, lots_with_withheld, withheld_in
from tests.factories.herd import make_animal, make_course, make_dose, make_group, put_in_group
from tests.factories.milk import EVENING, bare_lot, bare_part, make_milking, make_tank, stamp_at

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
DAYS = 12


def plain_milking(group: Group, at: datetime, tank: Tank, **fields: Any) -> Milking:
    """A milking as a bare row, without lots."""
    milking: Milking = Milking.objects.create(
        **stamp_at(at).columns(),
        group=group,
        day=at.date(),
        session="E",
        tank=tank,
        kg=Decimal(100),
        **fields,
    )
    return milking


def withhold(animal: Animal, since: datetime, until: datetime | None) -> WithdrawalPeriod:
    return WithdrawalPeriod.objects.create(
        animal=animal,
        kind="course",
        source=uuid4(),
        during=TimestamptzRange(since, until, "[)"),
        why=f"tube for {animal}",
    )


class Farm:
    """A small farm made by chance: everything a rule of withheld milk looks at, in odd shapes."""

    def __init__(self, seed: int) -> None:
        self.chance = random.Random(seed)
        self.tank = make_tank()
        self.groups = [make_group(milked=False) for _ in range(3)]
        self.animals = [make_animal() for _ in range(9)]
        self.lots = [bare_lot(tank=self.tank, opened_at=self.moment()) for _ in range(8)]
        for animal in self.animals:
            self.put(animal)
            for _ in range(self.chance.choice((0, 0, 1, 2))):
                since = self.moment()
                hours = self.chance.choice((6, 36, 84, None))
                withhold(animal, since, since + hours * HOUR if hours else None)
        for group in self.groups:
            for number in range(10):
                self.milk(group, number)

    def moment(self) -> datetime:
        return EVENING - self.chance.randrange(DAYS * 24 * 60) * timedelta(minutes=1)

    def put(self, animal: Animal) -> None:
        """One to three stays after each other, the last one open."""
        starts = sorted(self.moment() for _ in range(self.chance.randint(1, 3)))
        ends = [*starts[1:], None]
        for start, end in zip(starts, ends, strict=True):
            GroupStay.objects.create(
                **stamp_at(start).columns(),
                animal=animal,
                group=self.chance.choice(self.groups),
                during=TimestamptzRange(start, end, "[)"),
            )

    def milk(self, group: Group, number: int) -> None:
        """A milking with or without meters, struck or not, into one lot, two or none."""
        metered = self.chance.random() < 0.5
        at = self.moment() + timedelta(seconds=number)
        milking = plain_milking(group, at, self.tank, metered=metered)
        lots = self.chance.sample(self.lots, self.chance.choice((0, 1, 1, 2)))
        for lot in lots:
            bare_part(lot, milking, 50)
        for animal in self.chance.sample(self.animals, 5):
            kept_out = self.chance.random() < 0.3
            if metered or kept_out:
                CowMilking.objects.create(
                    animal=animal,
                    milking=milking,
                    lot=None if kept_out or not lots else self.chance.choice(lots),
                    grams=self.chance.choice((None, 11_500)),
                    at_s=self.chance.choice((None, 0, 5_400, 30_000)),
                    goes=int(kept_out),
                )
        if self.chance.random() < 0.15:
            Milking.objects.filter(pk=milking.pk).update(
                struck_at=EVENING, struck_by=milking.by, struck_reason="twice"
            )


def holds(during: Any, moment: datetime) -> bool:
    return bool(during.lower <= moment and (during.upper is None or moment < during.upper))


def slowly(lots: list[MilkLot]) -> set[tuple[Any, ...]]:
    """The same question asked row by row, as the rule is told to a newcomer."""
    found = set()
    periods = list(WithdrawalPeriod.objects.all())
    cows = list(CowMilking.objects.all())
    stays = list(GroupStay.objects.standing())
    for part in MilkingPart.objects.filter(lot__in=lots).select_related("milking"):
        milking = part.milking
        if milking.is_struck:
            continue
        for period in periods:
            hers = (milking.pk, period.animal_id)
            rows = [row for row in cows if (row.milking_id, row.animal_id) == hers]
            for row in rows:
                at = milking.happened_at + timedelta(seconds=row.at_s or 0)
                if row.lot_id == part.lot_id and holds(period.during, at):
                    kg = None if row.grams is None else Decimal(row.grams) / 1000
                    found.add(key_of(part.lot_id, milking.pk, period, at, kg))
            if milking.metered or any(row.goes == CowMilking.Goes.KEPT_OUT for row in rows):
                continue
            at = milking.happened_at
            for stay in stays:
                her_group = (stay.animal_id, stay.group_id) == (period.animal_id, milking.group_id)
                if her_group and holds(stay.during, at) and holds(period.during, at):
                    found.add(key_of(part.lot_id, milking.pk, period, at, None))
    return found


def key_of(lot: int, milking: int, period: Any, at: datetime, kg: Any) -> tuple[Any, ...]:
    return lot, milking, period.animal_id, period.source, at, kg


def keys(rows: list[Row]) -> set[tuple[Any, ...]]:
    return {(row.lot, row.milking, row.animal, row.source, row.at, row.kg) for row in rows}


@pytest.mark.parametrize("seed", range(8))
def test_both_directions_agree_with_the_slow_way(seed: int) -> None:
    farm = Farm(seed)
    expected = slowly(farm.lots)
    there = withheld_in(lot.pk for lot in farm.lots)
    assert keys(there) == expected
    assert len(there) == len(expected)
    whole = lots_with_withheld(EVENING - timedelta(days=DAYS + 1), EVENING + HOUR)
    assert keys(whole) == expected
    since, until = sorted((farm.moment(), farm.moment()))
    inside = set(
        Milking.objects.filter(happened_at__gte=since, happened_at__lt=until).values_list(
            "pk", flat=True
        )
    )
    part = lots_with_withheld(since, until)
    assert keys(part) == {key for key in expected if key[1] in inside}
    some = {animal.pk for animal in farm.animals[:4]}
    of_some = lots_with_withheld(since, until, some)
    assert keys(of_some) == {key for key in keys(part) if key[2] in some}


def test_the_random_farms_have_withheld_milk_of_both_kinds() -> None:
    found = {row for seed in range(3) for row in slowly(Farm(seed).lots)}
    assert any(kg is not None for *_, kg in found)
    assert any(kg is None for *_, kg in found)


@pytest.mark.parametrize(("minutes", "inside"), [(-1, False), (0, True), (359, True), (360, False)])
def test_a_period_is_half_open(minutes: int, inside: bool) -> None:
    group, animal, lot = make_group(milked=False), make_animal(), bare_lot()
    put_in_group(animal, group)
    withhold(animal, EVENING, EVENING + 6 * HOUR)
    at = EVENING + timedelta(minutes=minutes)
    bare_part(lot, plain_milking(group, at, lot.tank))
    assert bool(withheld_in([lot.pk])) is inside
    assert bool(lots_with_withheld(at, at + HOUR)) is inside


def test_a_course_in_life_is_found_in_the_lot_of_its_cow() -> None:
    group, cow, other = make_group(), make_animal(), make_animal()
    make_dose(make_course(cow, happened_at=EVENING - HOUR))
    milking = make_milking(group=group, tank=make_tank(), cows=[(cow, 12), (other, 11)])
    lot = milking.parts.get().lot
    (row,) = withheld_in([lot.pk])
    assert (row.animal, row.milking, row.kg) == (cow.pk, milking.pk, Decimal(12))
    assert row.course is not None
    assert lots_with_withheld(EVENING - HOUR, EVENING + HOUR) == [row]


def test_kept_out_milk_is_in_no_lot() -> None:
    group, cow, other = make_group(), make_animal(), make_animal()
    put_in_group(cow, group)
    put_in_group(other, group)
    make_dose(make_course(cow, happened_at=EVENING - HOUR))
    tank = make_tank()
    make_milking(group=group, tank=tank, kg=500, kept_out=[cow])
    assert lots_with_withheld(EVENING - HOUR, EVENING + HOUR) == []
    make_milking(group=group, tank=tank, kg=500, at=EVENING + 12 * HOUR)
    (row,) = lots_with_withheld(EVENING - HOUR, EVENING + 13 * HOUR)
    assert (row.animal, row.kg) == (cow.pk, None)


def test_nothing_asked_is_answered_without_asking_the_database() -> None:
    with CaptureQueriesContext(
        connection,
    ) as asked:
        assert withheld_in([]) == []
        assert lots_with_withheld(EVENING, EVENING) == []
    assert len(asked) == 0


HISTORY = ("milk_cowmilking", "milk_milking", "milk_milkingpart", "herd_withdrawalperiod")


@pytest.mark.parametrize(("way", "number"), [("from lots", 5), ("from periods", 6)])
def test_no_statement_walks_through_the_years(way: str, number: int) -> None:
    """With sequential scans priced out, one that remains has no index to go by."""
    farm = Farm(1)
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_seqscan = off")
    with CaptureQueriesContext(connection) as asked:
        if way == "from lots":
            withheld_in(lot.pk for lot in farm.lots)
        else:
            lots_with_withheld(EVENING - timedelta(days=DAYS), EVENING)
    statements = [query["sql"] for query in asked.captured_queries]
    assert len(statements) == number
    for statement in statements:
        with connection.cursor() as cursor:
            cursor.execute(f"EXPLAIN {statement}")
            plan = "\n".join(row[0] for row in cursor.fetchall())
        for table in HISTORY:
            assert f"Seq Scan on {table}" not in plan, plan
