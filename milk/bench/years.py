"""Years of an estate's entries, written by COPY: the same years and seed give the same facts.

Facts only: cows, stays, doses, loads, feedings, milkings, washes, fills, vats, wheels, results.
What follows from them (lots and their links, withdrawal periods, deadlines) is computed by the
services that always do, so a benchmark reads what the program itself would have written. On
purpose there are tanks topped up between two draws, milk carried over into the next evening, lots
over their limits, doses written two days late, loads fed after their time, and groups without
meters.
"""

from array import array
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from random import Random
from time import perf_counter
from typing import Any
from uuid import UUID

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
    Holding,
    Medicine,
    MedicineVersion,
    MilkingTime,
    Recording,
)
from herd.services import recordings, withdrawals
from milk.demo import people
from milk.demo.estate import Estate
from milk.models import (
    CowMilking,
    Delivery,
    LotTest,
    Milking,
    MilkingPart,
    MilkLot,
    Tank,
    TankEvent,
    Vat,
    VatFill,
    Wheel,
)
from milk.services import lots

SEED = 20260610
COWS, GROUPS = 2000, 14
WITHOUT_METERS = (7, 14)
# A herd moves on to the next group every so many days, at noon.
STAY_DAYS = 57
MORNING, EVENING = timedelta(hours=2), timedelta(hours=15)
BETWEEN_GROUPS, MILKED_IN = timedelta(minutes=12), timedelta(minutes=35)
# A vat of 2,000 cows' milk takes so many kg of the evening's and as many of the morning's.
VATS, BETWEEN_VATS, FROM_EACH = 25, timedelta(minutes=8), Decimal(550)
FIRST_VAT, SOLD, WASHED = timedelta(hours=6), timedelta(hours=9, minutes=45), timedelta(hours=11)
# Every ninth morning group 7 is milked while the first vats are being filled.
TOPPED_UP, TOPPED_UP_AT = 9, timedelta(hours=6, minutes=20)
CARRIED_OVER, CARRIED_KG = 0.45, Decimal(150)
LOADS, FED_TO = 6, 7
COURSES_A_YEAR, DOSES, APART = 1.5, 3, timedelta(hours=12)
MILK_HOURS = 84
# One course in thirty is written late, one load in fifty fed after its time.
LATE_COURSE, WRITTEN_LATE, LATE_LOAD = 30, timedelta(hours=49), 50
OVER_LIMIT = 0.01
GRAM = Decimal("0.001")
Row = dict[str, Any]


@dataclass
class Years:
    """One run. ``first``: midnight (UTC) of the first day; ``say``: told each step as it ends."""

    first: datetime
    days: int
    seed: int = SEED
    cows: int = COWS
    say: Callable[[str], None] = lambda words: None
    dice: Random = field(init=False)
    by: int = 0
    animals: list[int] = field(default_factory=list)
    groups: list[int] = field(default_factory=list)
    tanks: dict[str, int] = field(default_factory=dict)
    out: dict[int, list[tuple[datetime, datetime]]] = field(default_factory=dict)
    carried: set[int] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.dice = Random(self.seed)

    @property
    def from_each(self) -> Decimal:
        return (FROM_EACH * self.cows / COWS).quantize(GRAM)

    def day(self, number: int) -> datetime:
        return self.first + timedelta(days=number)

    def group_of(self, cow: int, day: int) -> int:
        """The number of the group a cow (by her place) is milked in on a day."""
        return (cow + day // STAY_DAYS) % GROUPS + 1

    def fact(self, at: datetime, written: timedelta = timedelta(minutes=4), **columns: Any) -> Row:
        """The columns of an entry that happened at a moment."""
        return {
            "uuid": UUID(int=self.dice.getrandbits(128), version=4),
            "happened_at": at,
            "written_at": at + written,
            "received_at": at + written,
            "zone_offset": 0,
            "by_id": self.by,
            "device": "bench",
            **columns,
        }


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


def copied(model: type[models.Model], rows: Iterable[Mapping[str, Any]]) -> list[int]:
    """Write rows and give their keys, in the order written."""
    newest = model._base_manager.order_by("-pk").values_list("pk", flat=True).first() or 0
    copy_rows(model, rows)
    return list(
        model._base_manager.filter(pk__gt=newest).order_by("pk").values_list("pk", flat=True)
    )


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


@dataclass(frozen=True)
class Session:
    """One group's milking as it is to be written: cows (keys) with grams, and who was kept out."""

    day: int
    session: str
    place: int
    start: datetime
    tank: str
    cows: "array[int]"
    grams: "array[int]"
    out: tuple[int, ...]

    @property
    def is_metered(self) -> bool:
        return self.place + 1 not in WITHOUT_METERS

    @property
    def kg(self) -> Decimal:
        return Decimal(sum(self.grams)).scaleb(-3)


def milk(years: Years) -> None:
    """Milkings, what was drawn and washed, vats and wheels; then the lots, then the cows' rows."""
    sessions = [one for day in range(years.days) for one in milked(years, day)]
    keys = copied(Milking, (milking_of(years, one) for one in sessions))
    hall(years, sessions)
    several = [(key, one) for key, one in zip(keys, sessions, strict=True) if is_topping_up(one)]
    # A milking in several parts is given out cow by cow when the lots are computed; of the others,
    # millions of rows, the lot is written at once.
    copy_rows(CowMilking, cow_rows(several, {}))
    lots.rebuild_all()
    lot_of = dict(MilkingPart.objects.values_list("milking_id", "lot_id"))
    rest = [(key, one) for key, one in zip(keys, sessions, strict=True) if not is_topping_up(one)]
    copy_rows(CowMilking, cow_rows(rest, lot_of))


def is_topping_up(one: Session) -> bool:
    return one.session == "M" and one.place == 6 and one.day % TOPPED_UP == TOPPED_UP - 1


def milked(years: Years, day: int) -> Iterator[Session]:
    """The milkings of a day: in the morning into A and B, in the evening into C."""
    dice = Random(f"{years.seed} {day}")
    herds: list[list[int]] = [[] for _ in range(GROUPS)]
    for cow in range(years.cows):
        herds[years.group_of(cow, day) - 1].append(cow)
    for session, begin in (("M", MORNING), ("E", EVENING)):
        for place, cows in enumerate(herds):
            tank = "C" if session == "E" else "AB"[place >= GROUPS // 2]
            start = years.day(day) + begin + place * BETWEEN_GROUPS
            if session == "M" and place == 6 and day % TOPPED_UP == TOPPED_UP - 1:
                start = years.day(day) + TOPPED_UP_AT
            out = tuple(cow for cow in cows if is_out(years, cow, start))
            inside = [cow for cow in cows if cow not in out]
            grams = array("i", [6000 + round(12_000 * dice.random()) for _ in inside])
            keys = array("i", [years.animals[cow] for cow in inside])
            kept = tuple(years.animals[cow] for cow in out)
            yield Session(day, session, place, start, tank, keys, grams, kept)


def is_out(years: Years, cow: int, at: datetime) -> bool:
    return any(begin <= at < until for begin, until in years.out.get(cow, ()))


def milking_of(years: Years, one: Session) -> Row:
    return years.fact(
        one.start,
        timedelta(minutes=40),
        group_id=years.groups[one.place],
        day=one.start.astimezone(estate_zone()).date(),
        session=one.session,
        tank_id=years.tanks[one.tank],
        ended_at=one.start + MILKED_IN,
        read_kg=None if one.is_metered else one.kg,
        kg=one.kg,
        metered=one.is_metered,
    )


def cow_rows(sessions: Iterable[tuple[int, Session]], lot_of: Mapping[int, int]) -> Iterator[Row]:
    """The meters' rows; of groups without meters only who was kept out."""
    for milking, one in sessions:
        lot = lot_of.get(milking)
        if one.is_metered:
            for number, (cow, grams) in enumerate(zip(one.cows, one.grams, strict=True)):
                yield {
                    "animal_id": cow,
                    "milking_id": milking,
                    "lot_id": lot,
                    "grams": grams,
                    "at_s": min(14 * number, 2000),
                    "goes": 0,
                }
        for cow in one.out:
            yield {"animal_id": cow, "milking_id": milking, "lot_id": None, "goes": 1}


def hall(years: Years, sessions: list[Session]) -> None:
    """Vats of last evening's and this morning's milk, the rest sold, the tanks washed."""
    kg: dict[tuple[int, str], Decimal] = {}
    for one in sessions:
        key = (one.day, one.tank)
        kg[key] = kg.get(key, Decimal(0)) + one.kg
    holding = copied(Holding, [years.fact(years.first, name="Millbrook Dairy", kind="customer")])
    every = range(1, years.days)
    vats = copied(Vat, (vat_of(years, day, number) for day in every for number in range(VATS)))
    copy_rows(VatFill, fills(years, vats))
    copy_rows(Wheel, wheels(years, vats))
    copy_rows(Delivery, sold(years, kg, holding[0]))
    copy_rows(TankEvent, washed(years))


def vat_at(years: Years, day: int, number: int) -> datetime:
    return years.day(day) + FIRST_VAT + number * BETWEEN_VATS


def vat_of(years: Years, day: int, number: int) -> Row:
    at = vat_at(years, day, number)
    return years.fact(at, day=at.astimezone(estate_zone()).date(), number=number + 1, round=1)


def fills(years: Years, vats: list[int]) -> Iterator[Row]:
    """Every vat half of last evening's milk, half of this morning's, from A and B in turn."""
    for place, vat in enumerate(vats):
        day, number = place // VATS + 1, place % VATS
        at = vat_at(years, day, number)
        for tank, later in (("C", 0), ("AB"[number % 2], 3)):
            start = at + timedelta(minutes=later)
            yield years.fact(
                start,
                vat_id=vat,
                tank_id=years.tanks[tank],
                kg=years.from_each,
                ended_at=start + timedelta(minutes=2),
            )


def wheels(years: Years, vats: list[int]) -> Iterator[Row]:
    plate = 0
    for place, vat in enumerate(vats):
        at = vat_at(years, place // VATS + 1, place % VATS) + timedelta(hours=3)
        for twin in "AB":
            plate += 1
            kg = Decimal(str(round(years.dice.gauss(47, 0.8), 1)))
            yield years.fact(at, vat_id=vat, twin=twin, plate=f"{plate:07d}", kg=kg)


def sold(years: Years, kg: Mapping[tuple[int, str], Decimal], buyer: int) -> Iterator[Row]:
    """What no vat took goes to a buyer; of C something may stay, for the next evening's milk."""
    each = years.from_each
    taken = {"A": each * ((VATS + 1) // 2), "B": each * (VATS // 2), "C": each * VATS}
    left = Decimal(0)
    for day in range(1, years.days):
        there = {"A": kg[day, "A"], "B": kg[day, "B"], "C": kg[day - 1, "C"] + left}
        carries = years.dice.random() < CARRIED_OVER
        left = CARRIED_KG if carries else Decimal(0)
        if carries:
            years.carried.add(day)
        for number, tank in enumerate("ABC"):
            stays_in = left if tank == "C" else Decimal(0)
            start = years.day(day) + SOLD + number * timedelta(minutes=10)
            yield years.fact(
                start,
                way="out",
                holding_id=buyer,
                tank_id=years.tanks[tank],
                kg=there[tank] - taken[tank] - stays_in,
                ended_at=start + timedelta(minutes=8),
            )


def washed(years: Years) -> Iterator[Row]:
    for day in range(1, years.days):
        for tank in "ABC":
            if tank == "C" and day in years.carried:
                continue
            at = years.day(day) + WASHED
            yield years.fact(at, tank_id=years.tanks[tank], what=TankEvent.What.WASHED)


def tested(years: Years) -> None:
    """Five results of every lot, one lot in a hundred over a limit."""
    rows = MilkLot.objects.valid().order_by("pk").values_list("pk", "opened_at", "code")
    copy_rows(LotTest, (row for one in list(rows) for row in results(years, *one)))


def results(years: Years, lot: int, opened: datetime, code: str) -> Iterator[Row]:
    dice = years.dice
    over = dice.random() < OVER_LIMIT
    found = (
        ("plate", "thousand per ml", round(dice.uniform(10, 70)) + 90 * over),
        ("cells", "thousand per ml", round(dice.uniform(170, 260)) + 250 * over),
        ("fat", "%", Decimal(str(round(dice.gauss(4.0, 0.1), 2)))),
        ("protein", "%", Decimal(str(round(dice.gauss(3.4, 0.1), 2)))),
    )
    at = opened + timedelta(minutes=100)
    for what, unit, value in found:
        yield years.fact(at, lot_id=lot, what=what, unit=unit, value=value, sample=code[:20])


def counts() -> Iterator[tuple[str, int]]:
    """How many rows of each kind the book holds."""
    kinds: tuple[type[models.Model], ...] = (
        Animal, GroupStay, Recording, Course, Dose, ForageBatch, Feeding, Milking, CowMilking,
        MilkLot, Vat, VatFill, Wheel, LotTest,
    )  # fmt: skip
    for model in kinds:
        yield str(model._meta.verbose_name_plural), model._base_manager.count()
