"""Two thousand animals in fourteen groups, their calvings, recordings, medicines and courses."""

from collections.abc import Iterator
from datetime import datetime, time, timedelta
from decimal import Decimal

from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils import timezone

from herd.models import (
    Animal,
    Calving,
    Course,
    Dose,
    DryOff,
    Group,
    GroupStay,
    Medicine,
    MedicineVersion,
    MilkingTime,
    TagEvent,
)
from milk.demo.book import entry, write
from milk.demo.cupboard import PRESCRIBER, batch_of
from milk.demo.estate import EVENING_LATER, HEADS, LINES, STARTS, Estate

USES = {1: "fresh", 12: "hospital", 13: "dry", 14: "close-up"}
# The way through the barn: the hospital pen lies by the first line, the dry cows at the far end.
WALK = (1, 2, 3, 4, 12, 5, 6, 7, 8, 9, 10, 11, 14, 13)
HERE_SINCE = timedelta(days=800)
# Longer than eight milkings: her first milk goes to the calf.
COLOSTRUM = timedelta(days=5)
PRODUCTS = (
    # name, actives, form, antimicrobial, milk, hours, dry days, meat days, doses, interval
    (
        "Demolactin tubes",
        "an invented penicillin",
        "udder tube",
        True,
        "hours",
        84,
        None,
        10,
        3,
        12,
    ),
    ("Demoject 120", "an invented macrolide", "injection", True, "hours", 120, None, 28, 2, 24),
    ("Demoflam", "an invented anti-inflammatory", "injection", False, "hours", 0, None, 4, 1, 24),
    ("Demodry", "an invented dry-cow antibiotic", "udder tube", True, "dry", 36, 49, 28, 1, 24),
    ("Demoseal", "bismuth in oil, invented", "udder tube", False, "hours", 0, None, 0, 1, 24),
)
COURSES_A_DAY = 2
# Where the fresh cows stood in their last lactation.
BEFORE_THEY_CALVED = 2


def make_groups(estate: Estate) -> None:
    start = estate.now - HERE_SINCE
    vet = estate.people["vet"]
    rows = [
        entry(
            Group,
            vet,
            start,
            number=number,
            use=USES.get(number, "milking"),
            walk_place=WALK.index(number) + 1,
        )
        for number in HEADS
    ]
    estate.groups = {group.number: group for group in write(rows)}
    write(milking_times(estate, start))


def milking_times(estate: Estate, start: datetime) -> Iterator[MilkingTime]:
    line_of = {number: line for line, numbers in LINES.items() for number in numbers}
    for number, clock in STARTS.items():
        morning = time.fromisoformat(clock)
        evening = morning.replace(hour=morning.hour + EVENING_LATER.seconds // 3600)
        for session, starts in (("M", morning), ("E", evening)):
            yield entry(
                MilkingTime,
                estate.people["vet"],
                start,
                group=estate.groups[number],
                session=session,
                starts=starts,
                valid_from=start.date(),
                line=line_of[number],
            )


def make_animals(estate: Estate) -> None:
    """Every animal with its tag and number, and a level of milk for the meters."""
    start = estate.now - HERE_SINCE
    order = [number for number, heads in HEADS.items() for _ in range(heads)]
    rows = [
        entry(
            Animal,
            estate.people["office"],
            start,
            ear_tag=f"999{index:012d}",
            farm_number=index,
            breed="BSW",
            born_on=start.date() - timedelta(days=700 + estate.dice.randrange(1800)),
        )
        for index, _ in enumerate(order, start=1001)
    ]
    for number, animal in zip(order, write(rows), strict=True):
        estate.herd.setdefault(number, []).append(animal)
        estate.levels[animal.pk] = estate.dice.gauss(24, 4.5)
        estate.in_milk_from[animal.pk] = start
    write(stays_and_calvings(estate, start))


def stays_and_calvings(estate: Estate, start: datetime) -> list[GroupStay]:
    """Where everybody stands: the fresh cows came from the close-up group when they calved."""
    stays: list[GroupStay] = []
    calvings: list[Calving] = []
    dry_offs: list[DryOff] = []
    stockman = estate.people["stockman"]
    for number, animals in estate.herd.items():
        for animal in animals:
            if number != 1:
                stays.append(stay(estate, animal, number, start, None))
                continue
            calved = estate.now - timedelta(hours=6 + estate.dice.randrange(33 * 24))
            dried = calved - timedelta(days=62)
            # She was milked before; without that, first milk of a calving long ago has no end.
            stays.append(stay(estate, animal, BEFORE_THEY_CALVED, start, dried))
            stays.append(stay(estate, animal, 14, dried, calved))
            stays.append(stay(estate, animal, 1, calved, None))
            calvings.append(entry(Calving, stockman, calved, dam=animal))
            dry_offs.append(dry_off(estate, animal, dried))
            estate.in_milk_from[animal.pk] = calved
            estate.keep_out(animal.pk, calved, calved + COLOSTRUM)
    for number in (13, 14):
        for animal in estate.herd[number]:
            since = estate.dice.randrange(40)
            # The last weeks before she calves she stands close-up.
            since = 42 + since // 2 if number == 14 else 5 + since
            dry_offs.append(dry_off(estate, animal, estate.now - timedelta(days=since)))
    write(calvings)
    write(dry_offs)
    return stays


def stay(
    estate: Estate, animal: Animal, number: int, start: datetime, end: datetime | None
) -> GroupStay:
    return entry(
        GroupStay,
        estate.people["stockman"],
        start,
        animal=animal,
        group=estate.groups[number],
        during=DateTimeTZRange(start, end, "[)"),
    )


def dry_off(estate: Estate, animal: Animal, at: datetime) -> DryOff:
    if estate.dice.random() < 0.4:
        return entry(
            DryOff,
            estate.people["vet"],
            at,
            animal=animal,
            cover="tube",
            medicine=estate.medicines["Demodry"],
            batch=batch_of(estate.medicines["Demodry"]),
            grounds="cell count above 200",
        )
    return entry(
        DryOff,
        estate.people["vet"],
        at,
        animal=animal,
        cover="seal",
        medicine=estate.medicines["Demoseal"],
        batch=batch_of(estate.medicines["Demoseal"]),
        grounds="low cells",
    )


def make_medicines(estate: Estate) -> None:
    start = estate.now - HERE_SINCE
    vet = estate.people["vet"]
    medicines = write(
        entry(
            Medicine,
            vet,
            start,
            name=name,
            actives=actives,
            form=form,
            antimicrobial=antimicrobial,
            unit="tube" if "tube" in form else "ml",
            # A little of one is left: it is on the list of what to order.
            shelf_least=Decimal(1000) if name == "Demoflam" else None,
        )
        for name, actives, form, antimicrobial, *_ in PRODUCTS
    )
    estate.medicines = {medicine.name: medicine for medicine in medicines}
    write(
        entry(
            MedicineVersion,
            vet,
            start,
            medicine=estate.medicines[name],
            valid_from=start.date(),
            milk=milk,
            milk_hours=hours,
            dry_days=dry,
            meat_days=meat,
            leaflet_doses=doses,
            leaflet_interval=interval,
            source="leaflet of an invented product",
        )
        for name, _, _, _, milk, hours, dry, meat, doses, interval in PRODUCTS
    )


def make_courses(estate: Estate) -> None:
    """Courses as they should be: written at once, the cow kept out, then back."""
    write(doses_of(estate, write(courses_of(estate))))


def courses_of(estate: Estate) -> Iterator[Course]:
    tubes = estate.medicines["Demolactin tubes"]
    for animal in estate.herd[12]:
        hours = estate.dice.randrange(4, 60)
        yield course(estate, animal, tubes, estate.now - timedelta(hours=hours))
    milking = [animal for number in range(2, 12) for animal in estate.herd[number]]
    patients = estate.dice.sample(milking, COURSES_A_DAY * estate.days)
    for index, animal in enumerate(patients):
        name = ("Demolactin tubes", "Demoject 120", "Demoflam")[index % 3]
        day = estate.all_days()[index // COURSES_A_DAY]
        at = estate.at(day, "07:40") + timedelta(minutes=7 * index % 60)
        if at < estate.now:
            yield course(estate, animal, estate.medicines[name], at)


def course(estate: Estate, animal: Animal, medicine: Medicine, at: datetime) -> Course:
    _, _, _, _, _, hours, _, _, doses, interval = next(p for p in PRODUCTS if p[0] == medicine.name)
    # Kept out from before the needle until well after the period: the story's good days.
    lasts = timedelta(hours=(doses - 1) * interval + hours)
    if hours:
        estate.keep_out(animal.pk, at - timedelta(hours=1), at + lasts + timedelta(hours=1))
    return entry(
        Course,
        estate.people["vet"],
        at,
        animal=animal,
        medicine=medicine,
        diagnosis="mastitis",
        route="udder" if medicine.unit == "tube" else "muscle",
        dose=Decimal(1 if medicine.unit == "tube" else 20),
        doses=doses,
        interval_hours=interval,
        prescriber=PRESCRIBER,
        prescribed_on=timezone.localdate(at),
    )


def doses_of(estate: Estate, courses: list[Course]) -> Iterator[Dose]:
    for order in courses:
        for number in range(order.doses):
            at = order.happened_at + timedelta(hours=number * order.interval_hours)
            if at < estate.now:
                yield entry(
                    Dose,
                    estate.people["stockman"],
                    at,
                    course=order,
                    quantity=order.dose,
                    quarter="RH" if order.route == "udder" else "",
                    batch=batch_of(order.medicine),
                )


def make_lost_tag(estate: Estate) -> None:
    animal = estate.herd[7][3]
    write(
        [
            entry(
                TagEvent,
                estate.people["stockman"],
                estate.now - timedelta(hours=30),
                animal=animal,
                what="lost",
                ear="R",
            )
        ]
    )
