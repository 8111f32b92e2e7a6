"""Recordings, mastitis and plates of the demo herd, so that the udder board has something to say.

With dice of its own: what else happens on the estate does not hang on how many cows were recorded.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta
from decimal import Decimal
from random import Random

from herd.models import Animal, CowTest, HealthEvent, Recording
from milk.demo.book import entry, write
from milk.demo.estate import OLD_MAKE_DAYS, OLDER_MAKES, Estate

RECORDED_DAYS_AGO = (91, 62, 33, 4)
# Cases are told of so long; the plates of the last quarter of a year.
CASES_FOR, PLATES_FOR = timedelta(days=450), timedelta(days=90)
CASES_A_DAY = 1.55
QUARTERS = ("LF", "RF", "LH", "RH")
GROWN = (
    ("none", "", 34),
    ("germ", "Strep. uberis", 24),
    ("germ", "E. coli", 17),
    ("germ", "Staph. aureus", 8),
    ("germ", "Coagulase-negative staphylococci", 9),
    ("mixed", "", 4),
    ("dirty", "", 4),
)
FRESH_GROUP, FIRST_CALVERS = 1, 2
NOT_MILKED = (13, 14)


# The longest until the milk is clear again, and a milking more.
CLEAR_BY = timedelta(days=8)


def make_udders(estate: Estate) -> None:
    """Four recordings a month apart, mastitis over fifteen months, plates and ketone tests."""
    dice = Random(estate.seed + 1)
    levels = {
        animal.pk: dice.gauss(4.61, 1.1) for animals in estate.herd.values() for animal in animals
    }
    for days_ago in RECORDED_DAYS_AGO:
        day = estate.today - timedelta(days=days_ago)
        write(recordings_of(estate, estate.at(day, "05:00"), levels, dice))
    signs = write(mastitis(estate, dice))
    write(cleared(estate, signs, dice))
    write(plates(estate, signs, dice))
    write(ketones(estate, dice))


def recordings_of(
    estate: Estate, at: datetime, levels: dict[int, float], dice: Random
) -> Iterator[Recording]:
    """One recording of every cow that was in milk then; fresh cows give more fat for protein."""
    for number, animals in estate.herd.items():
        if number in NOT_MILKED:
            continue
        fresh = number == FRESH_GROUP
        for animal in animals:
            if estate.in_milk_from[animal.pk] > at:
                continue
            cells = 25 + 2.718281828 ** dice.gauss(levels[animal.pk], 0.4)
            yield entry(
                Recording,
                estate.people["office"],
                at,
                animal=animal,
                lactation=1 if number == FIRST_CALVERS else None,
                milk_kg=Decimal(round(max(6.0, dice.gauss(estate.levels[animal.pk], 2)), 1)),
                fat=Decimal(round(dice.gauss(4.45 if fresh else 4.05, 0.33), 2)),
                protein=Decimal(round(dice.gauss(3.35 if fresh else 3.55, 0.18), 2)),
                casein=Decimal(round(dice.gauss(2.6 if fresh else 2.77, 0.14), 2)),
                cells=Decimal(round(min(6000, cells))),
            )


def in_milk(estate: Estate) -> list[Animal]:
    """Every cow of the groups that are milked."""
    return [
        animal
        for number, animals in estate.herd.items()
        if number not in NOT_MILKED
        for animal in animals
    ]


def mastitis(estate: Estate, dice: Random) -> Iterator[HealthEvent]:
    """Flakes in a quarter of a cow in milk, one or two on most days."""
    cows = in_milk(estate)
    for _ in range(round(CASES_FOR.days * CASES_A_DAY)):
        animal = dice.choice(cows)
        at = estate.now - timedelta(days=1, hours=dice.randrange(CASES_FOR.days * 24))
        if at < estate.in_milk_from[animal.pk] or before_a_make(estate, at):
            continue
        estate.keep_out(animal.pk, at - timedelta(hours=1), at + CLEAR_BY)
        yield entry(
            HealthEvent,
            estate.people["vet"],
            at,
            animal=animal,
            sign="flakes",
            diagnosis="mastitis",
            case="mastitis",
            quarter=dice.choice(QUARTERS),
            severity=dice.choice((1, 1, 1, 2, 2, 3)),
        )


def before_a_make(estate: Estate, at: datetime) -> bool:
    """Whether her milk would not be clear on a day of long ago whose wheels are in the book.

    Of those days the book has whole groups and not who stood aside, so nobody must have.
    """
    ago = (estate.now - at).days
    return any(-1 <= ago - make <= CLEAR_BY.days for make in (OLD_MAKE_DAYS, *OLDER_MAKES))


def cleared(estate: Estate, signs: list[HealthEvent], dice: Random) -> Iterator[HealthEvent]:
    """That the milk was clear again, some days later."""
    for sign in signs:
        at = sign.happened_at + timedelta(days=3 + dice.randrange(5))
        if at < estate.now:
            yield entry(
                HealthEvent,
                estate.people["stockman"],
                at,
                animal=sign.animal,
                sign="milk clear again",
                quarter=sign.quarter,
                settles=sign,
            )


def plates(estate: Estate, signs: list[HealthEvent], dice: Random) -> Iterator[CowTest]:
    """A sample of each recent case, read the next day."""
    for number, sign in enumerate(signs, start=1):
        if sign.happened_at < estate.now - PLATES_FOR:
            continue
        growth, germ, _ = dice.choices(GROWN, [weight for *_, weight in GROWN])[0]
        yield entry(
            CowTest,
            estate.people["vet"],
            sign.happened_at + timedelta(minutes=20),
            animal=sign.animal,
            what="growth",
            quarter=sign.quarter,
            sample=f"P{number:04d}",
            result=germ or growth,
            growth=growth,
            germ=germ,
            read_at=sign.happened_at + timedelta(hours=21),
        )


def ketones(estate: Estate, dice: Random) -> Iterator[CowTest]:
    """Some of the fresh cows were tested at their side after the last recording."""
    at = estate.now - timedelta(hours=20)
    for animal in estate.herd[FRESH_GROUP][:12]:
        if estate.in_milk_from[animal.pk] > at - timedelta(days=5):
            continue
        value = Decimal(round(abs(dice.gauss(0.8, 0.45)) + 0.2, 1))
        yield entry(
            CowTest,
            estate.people["stockman"],
            at,
            animal=animal,
            what="ketones",
            result=f"{value}",
            value=value,
            fluid="blood",
        )
