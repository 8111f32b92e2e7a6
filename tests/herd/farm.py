"""A small farm grown at random, for reads that must agree with a slow and obvious reference."""

import random
from datetime import timedelta
from decimal import Decimal

from psycopg.types.range import TimestamptzRange

from herd.models import Animal, Calving, Course, Dose, DryOff, Group, GroupStay, HealthEvent
from herd.services import withdrawals
from herd.services.groups import set_during
from tests.factories.herd import DAY, HOUR, NOON, make, make_animal, make_group, make_medicine


def grow(seed: int, animals: int = 12) -> list[Animal]:
    """Animals with moves, courses, doses, calvings, dry-offs and signs within forty days."""
    chance = random.Random(seed)
    groups = [
        make_group(1, use=Group.Use.FRESH),
        make_group(5),
        make_group(12, use=Group.Use.HOSPITAL),
        make_group(13, use=Group.Use.DRY, milked=False),
    ]
    medicines = [
        make_medicine(84),
        make_medicine(0),
        make_medicine(None),
        make_medicine(60, milk_milkings=6),
        make_medicine(36, milk="dry", dry_days=20),
    ]
    cows = [make_animal() for _ in range(animals)]
    for cow in cows:
        live(cow, groups, medicines, chance)
    numbers = [cow.pk for cow in cows]
    set_during(numbers)
    withdrawals.rebuild(numbers)
    return cows


def live(cow, groups, medicines, chance) -> None:
    """Forty days of one animal."""
    for _ in range(chance.randint(0, 3)):
        make(
            GroupStay,
            at=moment(chance),
            animal=cow,
            group=chance.choice(groups),
            during=TimestamptzRange(empty=True),
        )
    for _ in range(chance.randint(0, 3)):
        treat(cow, chance.choice(medicines), chance)
    if chance.random() < 0.3:
        make(Calving, at=moment(chance), dam=cow)
    if chance.random() < 0.3:
        cover = chance.choice(["tube", "seal", "unknown"])
        medicine = medicines[-1] if cover == "tube" else None
        make(DryOff, at=moment(chance), animal=cow, cover=cover, medicine=medicine)
    if chance.random() < 0.4:
        seen = make(HealthEvent, at=moment(chance), animal=cow, sign="clots", unfit=True)
        if chance.random() < 0.6:
            after = seen.happened_at + 2 * DAY
            make(HealthEvent, at=after, animal=cow, sign="clean", settles=seen)


def treat(cow, medicine, chance) -> None:
    """A course, some of its doses, and sometimes a strike."""
    ordered = chance.randint(1, 3)
    course = make(
        Course,
        at=moment(chance),
        animal=cow,
        medicine=medicine,
        diagnosis="mastitis",
        dose=Decimal(1),
        doses=ordered,
        interval_hours=12,
    )
    for number in range(chance.randint(0, ordered)):
        when = course.happened_at + number * 12 * HOUR + timedelta(minutes=chance.randint(0, 90))
        dose = make(Dose, at=when, course=course, quantity=Decimal(1))
        if chance.random() < 0.15:
            struck(dose)
    if chance.random() < 0.1:
        struck(course)


def struck(entry) -> None:
    """An entry struck, without the service that belongs to it."""
    type(entry).objects.filter(pk=entry.pk).update(
        struck_at=NOON, struck_by=entry.by, struck_reason="other", struck_words="for the test"
    )


def moment(chance):
    """Some time in the twenty days before or after NOON, to the minute."""
    return NOON + timedelta(minutes=chance.randint(-20 * 1440, 20 * 1440))
