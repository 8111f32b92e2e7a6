"""The milk of the invented years: milkings, vats, wheels, what was sold and washed, results."""

from array import array
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from random import Random

from config.copying import copy_rows
from config.days import estate_zone
from herd.models import (
    Holding,
)
from milk.bench.book import BETWEEN_GROUPS, EVENING, GROUPS, MORNING, Row, Years, copied
from milk.models import (
    CowMilking,
    Delivery,
    LotTest,
    Milking,
    MilkingPart,
    MilkLot,
    TankEvent,
    Vat,
    VatFill,
    Wheel,
)
from milk.services import lots
from milk.services.arrivals import note_all

WITHOUT_METERS = (7, 14)
MILKED_IN = timedelta(minutes=35)
VATS, BETWEEN_VATS = 25, timedelta(minutes=8)
FIRST_VAT, SOLD, WASHED = timedelta(hours=6), timedelta(hours=9, minutes=45), timedelta(hours=11)
# Every ninth morning group 7 is milked while the first vats are being filled.
TOPPED_UP, TOPPED_UP_AT = 9, timedelta(hours=6, minutes=20)
CARRIED_OVER, CARRIED_KG = 0.45, Decimal(150)
OVER_LIMIT = 0.01


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
    note_all()


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
