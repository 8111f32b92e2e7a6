"""Finding wheels: by plate or a part of it, the day of their vat, age, grade, and place."""

import calendar
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet, Subquery
from django.utils.translation import gettext_lazy as _l

from config.days import local_day, start_of
from milk.age import full_months
from milk.held import open_holds
from milk.models import Inspection, Wheel, WheelPlace
from milk.places import Place, where_is

SHOWN = 60
HERE, BRINE, STORE, LOST, SENT, ALL = "here", "brine", "store", "lost", "sent", "all"
WHERE = (
    (HERE, _l("here on the estate")),
    (STORE, _l("in store")),
    (BRINE, _l("in brine")),
    (LOST, _l("not found, or in doubt")),
    (SENT, _l("sent")),
    (ALL, _l("wherever they are")),
)
NOT_GRADED = "none"
# A wheel that was never moved lies in the dairy; older ones are found by their whole plate.
UNMOVED = timedelta(days=366)


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
    keys = keys_of(wanted, at, most + 1)
    rows = Wheel.objects.filter(pk__in=keys[:most]).select_related("vat").order_by("pk")
    return found_of(rows, at), len(keys) > most


def keys_of(wanted: Wanted, at: datetime, most: int) -> list[int]:
    """The wheels (keys) that meet everything asked for, the oldest first, at most so many."""
    lying = of_place(WheelPlace.objects.all(), wanted)
    lying = of_grade(of_wheel(lying, wanted, at, "wheel__"), wanted.grade)
    keys = list(lying.order_by("wheel").values_list("wheel", flat=True)[:most])
    if len(keys) < most and may_be_unmoved(wanted):
        made = Wheel.objects.standing().filter(happened_at__gt=at - UNMOVED, lies=None)
        unmoved = of_wheel(made, wanted, at, "").order_by("pk").values_list("pk", flat=True)
        keys += unmoved[: most - len(keys)]
    return keys


def may_be_unmoved(wanted: Wanted) -> bool:
    """Whether wheels that are still in the dairy can be among those asked for."""
    graded = wanted.grade not in ("", NOT_GRADED)
    placed = bool(wanted.room) or wanted.aisle is not None
    return wanted.where in (HERE, ALL) and not placed and not graded


def of_wheel(rows: QuerySet[Any], wanted: Wanted, at: datetime, path: str) -> QuerySet[Any]:
    """Narrow by what is asked of the wheels themselves; ``path``: how the rows name them."""
    asked: dict[str, Any] = {f"{path}struck_at": None}
    if wanted.plate:
        asked[f"{path}plate__contains"] = wanted.plate
    if wanted.day is not None:
        asked[f"{path}vat__day"] = wanted.day
    today = local_day(at)
    if wanted.least_age is not None:
        last = youngest_of(wanted.least_age, today)
        asked[f"{path}happened_at__lt"] = start_of(last + timedelta(days=1))
    if wanted.most_age is not None:
        first = youngest_of(wanted.most_age + 1, today) + timedelta(days=1)
        asked[f"{path}happened_at__gte"] = start_of(first)
    return rows.filter(**asked)


def in_aisle(room: str, aisle: int) -> list[int]:
    """The wheels (keys) that lie in an aisle; some hundreds, so that the rest is read of them."""
    lying = WheelPlace.objects.filter(place__aisle=aisle)
    lying = lying.filter(place__room=room) if room else lying
    return list(lying.values_list("wheel", flat=True))


def of_place(lying: QuerySet[Any], wanted: Wanted) -> QuerySet[Any]:
    """Narrow to where the wheels are."""
    What = WheelPlace.What
    if wanted.aisle is not None:
        lying = lying.filter(wheel__in=in_aisle(wanted.room, wanted.aisle))
    elif wanted.room:
        lying = lying.filter(place__room=wanted.room)
    match wanted.where:
        case "store":
            return lying.filter(place__isnull=False)
        case "brine":
            return lying.filter(what=What.BRINE)
        case "lost":
            return lying.filter(what__in=(What.LOST, What.DOUBT))
        case "sent":
            return lying.filter(what=What.SENT)
        case "here":
            return lying.exclude(what__in=(What.SENT, What.GONE))
    return lying


def of_grade(lying: QuerySet[Any], grade: str) -> QuerySet[Any]:
    """Narrow to wheels whose last grade is this one, or that have none yet."""
    if not grade:
        return lying
    graded = Inspection.objects.standing().filter(wheel=OuterRef("wheel"))
    if grade == NOT_GRADED:
        return lying.filter(~Exists(graded))
    last = graded.order_by("-happened_at", "-id").values("grade")[:1]
    # That it had this grade at all says nothing new, but leaves few wheels when few ever had it.
    ever = Exists(graded.filter(grade=grade))
    found: QuerySet[Any] = lying.filter(ever).alias(last_grade=Subquery(last))
    return found.filter(last_grade=grade)


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
