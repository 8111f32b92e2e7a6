"""What came in lately but happened long ago: the entries a sweep over the last weeks would miss.

Numbers of entries are given in the order they arrive, so the newest are found from the end of a
table, by its key, and nothing walks through the years.
"""

from collections.abc import Collection, Iterator
from datetime import datetime, timedelta
from typing import Any

from django.db.models import DateTimeField, F, Func, Max, Min, Q
from django.db.models.functions import Greatest

from config.entries import Entry
from herd.models import (
    Calving,
    Course,
    Dose,
    DoseAnswer,
    DryOff,
    GroupStay,
    HealthEvent,
    WithdrawalPeriod,
)
from milk.models import LotTest, MeterCorrection, Milking, MilkingPart
from milk.withheld_milk import Row, lots_with_withheld, withheld_in

# The night's job runs once a day; a missed night or two must not lose an entry.
LATELY = timedelta(days=3)
FIRST_STEP, AT_ONCE = 500, 500

FIRST_MOMENT = Func(F("during"), function="lower", output_field=DateTimeField())
ANIMAL_OF: tuple[tuple[type[Entry], str], ...] = (
    (Course, "animal_id"),
    (Dose, "course__animal_id"),
    (DryOff, "animal_id"),
    (Calving, "dam_id"),
    (GroupStay, "animal_id"),
    (HealthEvent, "animal_id"),
    (DoseAnswer, "dose__course__animal_id"),
)


def arrived_lately(model: type[Entry], at: datetime) -> Any:
    """Entries that arrived, were struck or corrected in the days before ``at``.

    Found from the end of the table: new entries have the highest numbers, and a correction leaves
    its old wording there as a struck copy, which leads to the row that was corrected.
    """
    since = at - LATELY
    entries = model._default_manager.annotate(arrived=Greatest("received_at", "struck_at"))
    newest = entries.aggregate(newest=Max("pk"))["newest"] or 0
    step, start = FIRST_STEP, newest
    while start > 0:
        start = newest - step
        before = entries.filter(pk__lte=start).order_by("-pk")
        arrived = before.values_list("arrived", flat=True).first()
        if arrived is None or arrived < since:
            break
        step *= 4
    return entries.filter(Q(pk__gt=start) | Q(replaces_id__gt=start), arrived__gte=since)


def first_withheld(animals: Collection[int]) -> datetime | None:
    """When the first withdrawal period of these animals began; None when they have none."""
    periods = WithdrawalPeriod.objects.filter(animal_id__in=animals)
    first: datetime | None = periods.aggregate(first=Min(FIRST_MOMENT))["first"]
    return first


def rows_touched_lately(*, at: datetime, before: datetime) -> list[Row]:
    """Withheld milk of milkings before ``before`` that entries of the last days have to do with."""
    rows = []
    animals: dict[int, datetime] = {}
    for model, name in ANIMAL_OF:
        for animal, happened_at in (
            arrived_lately(model, at)
            .filter(happened_at__lt=before)
            .values_list(name, "happened_at")
        ):
            animals[animal] = min(happened_at, animals.get(animal, happened_at))
    if animals:
        rows += lots_with_withheld(min(animals.values()), before, animals)
    for lots in batches(sorted(lots_touched_lately(at, before))):
        rows += withheld_in(lots)
    return rows


def lots_touched_lately(at: datetime, before: datetime) -> set[int]:
    """Lots of old milkings that were written, or whose meter rows were put right, lately."""
    milkings = set(
        arrived_lately(Milking, at).filter(happened_at__lt=before).values_list("pk", flat=True)
    )
    milkings |= set(
        arrived_lately(MeterCorrection, at)
        .filter(milking__happened_at__lt=before)
        .values_list("milking_id", flat=True)
    )
    lots: set[int] = set()
    for part in batches(sorted(milkings)):
        lots |= set(
            MilkingPart.objects.filter(milking_id__in=part).values_list("lot_id", flat=True)
        )
    return lots


def tests_arrived_lately(*, at: datetime, before: datetime) -> list[LotTest]:
    """Results that arrived in the last days, of samples taken before ``before``."""
    return list(arrived_lately(LotTest, at).filter(happened_at__lt=before).prefetch_related("lot"))


def batches(numbers: list[int]) -> Iterator[list[int]]:
    """A long list in parts a statement can take."""
    for start in range(0, len(numbers), AT_ONCE):
        yield numbers[start : start + AT_ONCE]
