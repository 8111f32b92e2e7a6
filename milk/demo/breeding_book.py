"""From calving to calving in the demo herd: services, scans, dry-offs, and a cow nobody can name.

With dice of its own: the story of the milk does not hang on who was served.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise
from random import Random
from typing import Any

from herd.breeding import DOUBT, EMPTY, IN_CALF, round_after
from herd.models import (
    Animal,
    BreedingDecision,
    Calving,
    DryOff,
    Heat,
    MedicineMove,
    PregnancyCheck,
    Service,
    UnknownCow,
)
from herd.services.unknown import ask_who_she_is
from milk.demo.book import entry, write
from milk.demo.estate import OLD_MAKE_DAYS, OLDER_MAKES, Estate

FRESH, FIRST_CALVERS, LATE, DRY = 1, 2, 11, (13, 14)
# Days since calving, by where she stands; nobody else calved while the milk of the story flowed.
IN_MILK_DAYS, LATE_DAYS, AFTER_STORY = (30, 280), (250, 325), 8
CARRIED, WAITING = 288, 60
SUBMITTED, CONCEIVED, HEAT_SEEN = 0.56, 0.36, 0.35
# One that carries longer than this is dry already, and stands elsewhere.
STILL_IN_MILK = 234
STOP_AFTER, STOPPED = 190, 0.12
SCAN_DAY, SCAN_FROM, MISSED, DOUBTED = 2, 32, 0.04, 0.03
TUBED = 0.4
# Of one cow in so many the calving before the last is in the book too; all would slow the load.
CALVED_BEFORE = 3
BOOK_BEGAN = 790
# The story's recordings begin so long ago: a cow that calved since was dry or close before.
RECORDED_FOR = 95
PROOF = "delivery note 1044"
BULLS = ("Demobull 11", "Demobull 14", "Demobull 23", "Demobull 27", "Demobull 31")
STOP_GROUNDS = ("empty after five services", "lame, to be milked out", "cells high for months")


@dataclass
class Season:
    """What was seen of a cow between two calvings; ``carried``: the service she carries from."""

    services: list[date] = field(default_factory=list)
    heats: list[date] = field(default_factory=list)
    checks: list[tuple[date, str, int | None]] = field(default_factory=list)
    carried: date | None = None
    stopped: date | None = None


@dataclass
class Rows:
    """Unsaved entries of each kind."""

    calvings: list[Calving] = field(default_factory=list)
    dry_offs: list[DryOff] = field(default_factory=list)
    services: list[Service] = field(default_factory=list)
    checks: list[PregnancyCheck] = field(default_factory=list)
    heats: list[Heat] = field(default_factory=list)
    decisions: list[BreedingDecision] = field(default_factory=list)

    def write(self) -> None:
        write(self.calvings)
        write(self.dry_offs)
        write(self.services)
        write(self.checks)
        write(self.heats)
        write(self.decisions)


def make_breeding(estate: Estate) -> None:
    """Calvings, services, scans and dry-offs of every cow, and one cow without a name."""
    dice = Random(estate.seed + 2)
    rows = Rows()
    for number, animals in estate.herd.items():
        if number in (FRESH, *DRY):
            continue
        for animal in animals:
            in_milk(estate, rows, animal, number, dice)
    for animal in estate.herd[FRESH]:
        calved = estate.in_milk_from[animal.pk].astimezone(estate.zone).date()
        before(estate, rows, animal, calved, dice)
    dry_cows(estate, rows, dice)
    rows.write()
    write(used_up(estate, rows.dry_offs))
    make_unknown_cow(estate)


def in_milk(estate: Estate, rows: Rows, animal: Animal, number: int, dice: Random) -> None:
    """A cow in milk: when she calved, how she got there, and what was tried since."""
    shortest, longest = LATE_DAYS if number == LATE else IN_MILK_DAYS
    shortest = max(shortest, estate.days + AFTER_STORY)
    while True:
        calved = estate.today - timedelta(days=dice.randrange(shortest, longest))
        lived = season(calved, estate.today, dice)
        if lived.carried is None or (estate.today - lived.carried).days < STILL_IN_MILK:
            break
    rows.calvings.append(calving(estate, animal, calved, dice))
    if (estate.today - calved).days < RECORDED_FOR:
        estate.in_milk_from[animal.pk] = rows.calvings[-1].happened_at
    if number != FIRST_CALVERS and dice.randrange(CALVED_BEFORE) == 0:
        before(estate, rows, animal, calved, dice)
        dried = calved - timedelta(days=55 + dice.randrange(14))
        rows.dry_offs.append(dry_off(estate, animal, dried, dice))
    tell(estate, rows, animal, lived, dice)


def before(estate: Estate, rows: Rows, animal: Animal, calved: date, dice: Random) -> None:
    """The calving before the last one, and the service that led to the last."""
    served = calved - timedelta(days=CARRIED + round(dice.gauss(0, 4)))
    earlier = served - timedelta(days=waited(dice))
    ago = (estate.today - earlier).days
    # No first milk on the days of long ago whose makes are in the book.
    for make in (OLD_MAKE_DAYS, *OLDER_MAKES):
        if abs(ago - make) < 10:
            ago = make + 10
    earlier = estate.today - timedelta(days=min(ago, BOOK_BEGAN))
    rows.calvings.append(calving(estate, animal, earlier, dice))
    rows.services.append(service(estate, animal, served, dice))


def waited(dice: Random) -> int:
    """Days from a calving to the service a cow carries from."""
    days = WAITING + dice.randrange(21)
    while dice.random() > SUBMITTED * CONCEIVED and days < 180:
        days += 21
    return days


def dry_cows(estate: Estate, rows: Rows, dice: Random) -> None:
    """Those that are dry were dried off because a service says when they are due."""
    animals = {animal.pk: animal for number in DRY for animal in estate.herd[number]}
    dried = DryOff.objects.filter(animal__in=animals).order_by("animal_id")
    for number, at in dried.values_list("animal_id", "happened_at"):
        due = at.astimezone(estate.zone).date() + timedelta(days=61 + dice.randrange(7))
        served = due - timedelta(days=CARRIED)
        lived = Season(services=[served], carried=served)
        if dice.random() < 1 - CONCEIVED:
            lived.services.insert(0, served - timedelta(days=21))
        lived.checks = checks_of(lived, estate.today, dice)
        calved = served - timedelta(days=waited(dice) + 21)
        rows.calvings.append(calving(estate, animals[number], calved, dice))
        tell(estate, rows, animals[number], lived, dice)


def season(calved: date, today: date, dice: Random) -> Season:
    """Cycle by cycle from the end of the waiting days until she carries, is given up, or today."""
    lived = Season()
    heat = calved + timedelta(days=WAITING + dice.randrange(21))
    while heat < today:
        if dice.random() < SUBMITTED:
            lived.services.append(heat)
            if dice.random() < CONCEIVED:
                lived.carried = heat
                break
        elif dice.random() < HEAT_SEEN:
            lived.heats.append(heat)
        given_up = (heat - calved).days > STOP_AFTER and dice.random() < STOPPED
        if given_up and heat + timedelta(days=2) < today:
            lived.stopped = heat + timedelta(days=2)
            break
        heat += timedelta(days=19 + dice.randrange(5))
    lived.checks = checks_of(lived, today, dice)
    return lived


def checks_of(lived: Season, today: date, dice: Random) -> list[tuple[date, str, int | None]]:
    """The scans of each service that was not followed by another: day, result, days in calf."""
    found: list[tuple[date, str, int | None]] = []
    for served, again in pairwise([*lived.services, today]):
        day = round_after(served + timedelta(days=SCAN_FROM), SCAN_DAY)
        if dice.random() < MISSED:
            day += timedelta(days=7)
        if day < again and dice.random() < DOUBTED:
            found.append((day, DOUBT, None))
            day += timedelta(days=7)
        if day < again:
            carries = served == lived.carried
            days = (day - served).days if carries else None
            found.append((day, IN_CALF if carries else EMPTY, days))
    return found


def tell(estate: Estate, rows: Rows, animal: Animal, lived: Season, dice: Random) -> None:
    """A season as entries."""
    stockman, vet = estate.people["stockman"], estate.people["vet"]
    rows.services += [service(estate, animal, day, dice) for day in lived.services]
    for day in lived.heats:
        at = estate.at(day, "06:10") + timedelta(minutes=dice.randrange(600))
        rows.heats.append(entry(Heat, stockman, at, animal=animal, signs="stands to be mounted"))
    for day, result, days in lived.checks:
        at = estate.at(day, "09:30") + timedelta(minutes=dice.randrange(120))
        rows.checks.append(
            entry(PregnancyCheck, vet, at, animal=animal, way="scan", result=result, days=days)
        )
    if lived.stopped:
        at = estate.at(lived.stopped, "11:00")
        grounds = dice.choice(STOP_GROUNDS)
        rows.decisions.append(
            entry(BreedingDecision, vet, at, animal=animal, serve=False, grounds=grounds)
        )


def calving(estate: Estate, animal: Animal, day: date, dice: Random) -> Calving:
    at = estate.at(day, "00:20") + timedelta(minutes=dice.randrange(22 * 60))
    ease = dice.choices((1, 2, 3), (84, 13, 3))[0]
    return entry(Calving, estate.people["stockman"], at, dam=animal, ease=ease)


def service(estate: Estate, animal: Animal, day: date, dice: Random) -> Service:
    bull = dice.choice(BULLS)
    fields: dict[str, Any] = {"bull": bull, "straw_batch": f"{bull[-2:]}-{day:%y}"}
    return entry(
        Service, estate.people["stockman"], estate.at(day, "08:30"), animal=animal, **fields
    )


def dry_off(estate: Estate, animal: Animal, day: date, dice: Random) -> DryOff:
    """With a tube or a seal of the deliveries before the one that lies in the cupboard."""
    tube = dice.random() < TUBED
    medicine = estate.medicines["Demodry" if tube else "Demoseal"]
    return entry(
        DryOff,
        estate.people["vet"],
        estate.at(day, "08:10"),
        animal=animal,
        cover="tube" if tube else "seal",
        medicine=medicine,
        batch=earlier_batch(medicine),
        grounds="cell count above 200" if tube else "low cells",
    )


def earlier_batch(medicine: Any) -> str:
    return f"{medicine.name[:6].upper()}-6"


def used_up(estate: Estate, dry_offs: list[DryOff]) -> Iterator[MedicineMove]:
    """What came in for those dry-offs: four a cow, and nothing is left of it."""
    at = estate.at(estate.today - timedelta(days=BOOK_BEGAN // 2 + 25), "09:00")
    for name in ("Demodry", "Demoseal"):
        medicine = estate.medicines[name]
        yield entry(
            MedicineMove,
            estate.people["vet"],
            at,
            medicine=medicine,
            what="received",
            quantity=Decimal(4 * sum(one.medicine == medicine for one in dry_offs)),
            batch=earlier_batch(medicine),
            expires_on=estate.today + timedelta(days=60),
            proof=PROOF,
            supplier=estate.holdings["Saltbeck medicines"],
        )


def make_unknown_cow(estate: Estate) -> None:
    """A cow in the group of the lost tag whom nobody could name."""
    (cow,) = write(
        [
            entry(
                UnknownCow,
                estate.people["milker"],
                estate.now - timedelta(hours=5),
                group=estate.groups[7],
                marks="dark brown, white spot on the left hind leg",
                where_kept="pen beside the parlour",
            )
        ]
    )
    ask_who_she_is(cow)
