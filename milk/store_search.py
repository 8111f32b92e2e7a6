"""Finding wheels: by plate or a part of it, the day of their vat, age, grade, and place."""

import calendar
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet, Subquery

from config.days import local_day, start_of
from milk.age import full_months
from milk.held import open_holds
from milk.models import Inspection, Wheel, WheelPlace
from milk.places import Place, where_is

SHOWN = 60
HERE, BRINE, STORE, LOST, SENT, ALL = "here", "brine", "store", "lost", "sent", "all"
WHERE = (
    (HERE, "here on the estate"),
    (STORE, "in store"),
    (BRINE, "in brine"),
    (LOST, "not found, or in doubt"),
    (SENT, "sent"),
    (ALL, "wherever they are"),
)
NOT_GRADED = "none"


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """What is looked for; what is blank does not count. Ages in full months."""

    plate: str = ""
    day: date | None = None
    least_age: int | None = None
    most_age: int | None = None
    grade: str = ""
    room: str = ""
    aisle: int | None = None
    where: str = HERE

    @property
    def is_blank(self) -> bool:
        return self == Wanted(where=self.where)


@dataclass(frozen=True)
class Found:
    """A wheel found: where it is, how old, its last grade, and whether it is held."""

    wheel: Wheel
    place: Place
    months: int
    grade: str
    held: bool

    @property
    def url(self) -> str:
        return self.wheel.get_absolute_url()


def search(wanted: Wanted, at: datetime, most: int = SHOWN) -> tuple[list[Found], bool]:
    """The wheels found, and whether there are more than ``most``.

    A whole plate is found wherever the wheel is; otherwise the oldest first.
    """
    if wanted.plate:
        exact = list(Wheel.objects.standing().filter(plate=wanted.plate).select_related("vat"))
        if exact and wanted == Wanted(plate=wanted.plate, where=wanted.where):
            return found_of(exact, at), False
    rows = list(wheels_of(wanted, at)[: most + 1])
    return found_of(rows[:most], at), len(rows) > most


def wheels_of(wanted: Wanted, at: datetime) -> QuerySet[Any]:
    """The standing wheels that meet everything asked for, the oldest first."""
    everywhere = Wheel.objects.standing().select_related("vat").order_by("pk")
    wheels = of_place(everywhere, wanted)
    if wanted.plate:
        wheels = wheels.filter(plate__contains=wanted.plate)
    if wanted.day is not None:
        wheels = wheels.filter(vat__day=wanted.day)
    today = local_day(at)
    if wanted.least_age is not None:
        last = youngest_of(wanted.least_age, today)
        wheels = wheels.filter(happened_at__lt=start_of(last + timedelta(days=1)))
    if wanted.most_age is not None:
        first = youngest_of(wanted.most_age + 1, today) + timedelta(days=1)
        wheels = wheels.filter(happened_at__gte=start_of(first))
    return of_grade(wheels, wanted.grade)


def of_place(wheels: QuerySet[Any], wanted: Wanted) -> QuerySet[Any]:
    """Narrow to where the wheels are."""
    if wanted.room or wanted.aisle is not None:
        wheels = wheels.filter(lies__place__isnull=False)
        if wanted.room:
            wheels = wheels.filter(lies__place__room=wanted.room)
        if wanted.aisle is not None:
            wheels = wheels.filter(lies__place__aisle=wanted.aisle)
        return wheels
    match wanted.where:
        case "store":
            return wheels.filter(lies__place__isnull=False)
        case "brine":
            return wheels.filter(lies__what=WheelPlace.What.BRINE)
        case "lost":
            return wheels.filter(lies__what__in=(WheelPlace.What.LOST, WheelPlace.What.DOUBT))
        case "sent":
            return wheels.filter(lies__what=WheelPlace.What.SENT)
        case "here":
            # Written the other way round, every wheel ever made would be looked at.
            gone = WheelPlace.objects.filter(wheel=OuterRef("pk"), what=WheelPlace.What.SENT)
            return wheels.filter(~Exists(gone))
    return wheels


def of_grade(wheels: QuerySet[Any], grade: str) -> QuerySet[Any]:
    """Narrow to wheels whose last grade is this one, or that have none yet."""
    if not grade:
        return wheels
    graded = Inspection.objects.standing().filter(wheel=OuterRef("pk"))
    if grade == NOT_GRADED:
        return wheels.filter(~Exists(graded))
    last = graded.order_by("-happened_at", "-id").values("grade")[:1]
    found: QuerySet[Any] = wheels.annotate(last_grade=Subquery(last)).filter(last_grade=grade)
    return found


def found_of(wheels: Iterable[Wheel], at: datetime) -> list[Found]:
    """What is said of each wheel found; a few statements for all."""
    wheels = list(wheels)
    numbers = [wheel.pk for wheel in wheels]
    places = where_is(numbers)
    held = open_holds(wheel_ids=numbers)
    grades = grades_of(numbers)
    today = local_day(at)
    return [
        Found(
            wheel,
            places[wheel.pk],
            full_months(local_day(wheel.happened_at), today),
            grades.get(wheel.pk, ""),
            ("wheel", wheel.pk) in held,
        )
        for wheel in wheels
    ]


def grades_of(numbers: list[int]) -> dict[int, str]:
    """By wheel (key), the words of its last grade."""
    rows = Inspection.objects.standing().filter(wheel__in=numbers)
    last = rows.order_by("wheel", "-happened_at", "-id").distinct("wheel")
    return {row.wheel_id: row.get_grade_display() for row in last}


def youngest_of(months: int, today: date) -> date:
    """The last day on which a wheel can be made that is so many full months old today."""
    year, month = divmod(today.year * 12 + today.month - 1 - months, 12)
    last = calendar.monthrange(year, month + 1)[1]
    return date(year, month + 1, min(today.day, last))
