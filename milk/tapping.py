"""Tapping down an aisle: which wheel is next, what its twin did, how its day's wheels turned out.

Reads only. A wheel is due when it is old enough for grading and its last grade counts no longer.
"""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import connection
from django.db.models import Q

from config.days import local_day, start_of
from milk.age import age_said, months_later
from milk.grades import RANK, last_grades
from milk.models import Grade, Inspection, MilkFigure, StorePlace, Wheel, WheelPlace

DUE, EVERY = "due", "every"
# So far back no wheel of the estate goes; used where nobody set how long a grade counts.
LONG_AGO = date(1900, 1, 1)

_AISLES = """
SELECT place.room, place.aisle, count(*) AS wheels,
    count(*) FILTER (WHERE wheel.happened_at < %(ripe)s AND NOT EXISTS (
        SELECT 1 FROM milk_inspection AS seen WHERE seen.wheel_id = wheel.id
        AND seen.struck_at IS NULL AND seen.happened_at >= %(fresh)s)) AS due
FROM milk_wheelplace AS lies
JOIN milk_storeplace AS place ON place.id = lies.place_id
JOIN milk_wheel AS wheel ON wheel.id = lies.wheel_id
WHERE lies.place_id IS NOT NULL
GROUP BY place.room, place.aisle ORDER BY place.room, place.aisle
"""


@dataclass(frozen=True)
class Aisle:
    """An aisle: the wheels that lie in it, and how many of them are due for grading."""

    room: str
    aisle: int
    wheels: int
    due: int


@dataclass(frozen=True, kw_only=True)
class Round:
    """What makes a wheel due: lifted before ``ripe``, and no inspection from ``fresh`` on."""

    ripe: datetime
    fresh: datetime


@dataclass(frozen=True, kw_only=True)
class Twin:
    """The other wheel of the vat and its last inspection; None for a wheel never inspected."""

    wheel: Wheel
    last: Inspection | None


@dataclass(frozen=True, kw_only=True)
class Ahead:
    """The wheel in front of the tapper.

    ``place``: None for one that lies on no shelf. ``day``: the last grades of the other wheels of
    its day, by name with their number; ``stayed``: of those that were first once, (how many were
    inspected again later, how many of these are still first).
    """

    wheel: Wheel
    place: StorePlace | None
    age: str
    last: Inspection | None
    twin: Twin | None
    day: list[tuple[str, int]]
    stayed: tuple[int, int]


@dataclass(frozen=True)
class InRow:
    """A wheel on its shelf, to be tapped; the grade of its twin in words, "" for none yet."""

    wheel: Wheel
    place: StorePlace
    twin: str


def round_of(at: datetime, figures: dict[str, MilkFigure]) -> Round:
    """What is due at a moment, by the estate's figures; a grade counts until they say otherwise."""
    today = local_day(at)
    ripe, fresh = figures.get(MilkFigure.What.RIPE_FROM), figures.get(MilkFigure.What.GRADE_AGE)
    return Round(
        ripe=start_of(months_later(today, -int(ripe.value)) if ripe else today),
        fresh=start_of(months_later(today, -int(fresh.value)) if fresh else LONG_AGO),
    )


def aisles(due: Round) -> list[Aisle]:
    """Every aisle in which wheels lie; one statement."""
    with connection.cursor() as cursor:
        cursor.execute(_AISLES, {"ripe": due.ripe, "fresh": due.fresh})
        return [Aisle(*row) for row in cursor.fetchall()]


def next_in(
    room: str, aisle: int, *, after: tuple[int, int], which: str, due: Round, at: datetime
) -> tuple[Wheel | None, int]:
    """The next wheel of an aisle after a column and shelf, and how many there are with it.

    ``which``: only what is due, or every wheel not inspected today.
    """
    left = left_in(room, aisle, after=after, which=which, due=due, at=at)
    first = Wheel.objects.select_related("vat").get(pk=left[0]) if left else None
    return first, len(left)


def left_in(
    room: str, aisle: int, *, after: tuple[int, int], which: str, due: Round, at: datetime
) -> list[int]:
    """The wheels (keys) of an aisle still to be tapped, in walking order."""
    column, shelf = after
    lying = WheelPlace.objects.filter(
        Q(place__column__gt=column) | Q(place__column=column, place__shelf__gt=shelf),
        place__room=room,
        place__aisle=aisle,
    )
    # The wheels of one aisle are some hundreds: what is known of these is read by their keys, so
    # that neither the wheels nor the inspections of other years are.
    keys = list(
        lying.order_by("place__column", "place__shelf", "wheel").values_list("wheel", flat=True)
    )
    since = due.fresh if which == DUE else start_of(local_day(at))
    seen = Inspection.objects.standing().filter(
        wheel__in=keys, happened_at__gte=since, happened_at__lte=at
    )
    out = set(seen.values_list("wheel", flat=True))
    if which == DUE:
        young = Wheel.objects.filter(pk__in=keys, happened_at__gte=due.ripe)
        out |= set(young.values_list("pk", flat=True))
    return [key for key in keys if key not in out]


def in_row(room: str, aisle: int, *, which: str, due: Round, at: datetime) -> list[InRow]:
    """The wheels of an aisle still to be tapped, each with its place and what its twin did.

    For a phone that goes down the aisle without a network.
    """
    keys = left_in(room, aisle, after=(0, 0), which=which, due=due, at=at)
    places = WheelPlace.objects.filter(wheel__in=keys).select_related("place", "wheel")
    lies = {row.wheel_id: row for row in places}
    vats = {row.wheel.vat_id for row in lies.values()}
    of_vats: dict[int, list[int]] = defaultdict(list)
    for vat, wheel in Wheel.objects.standing().filter(vat__in=vats).values_list("vat", "pk"):
        of_vats[vat].append(wheel)
    grades = last_grades([wheel for wheels in of_vats.values() for wheel in wheels], at)

    def twin(wheel: Wheel) -> str:
        others = [grades[one] for one in of_vats[wheel.vat_id] if one != wheel.pk and one in grades]
        return str(others[0].get_grade_display()) if others else ""

    found = [lies[key] for key in keys]
    return [InRow(row.wheel, row.place, twin(row.wheel)) for row in found if row.place]


def ahead(wheel: Wheel, at: datetime) -> Ahead:
    """Everything the tapper wants to know of a wheel; four statements."""
    lies = WheelPlace.objects.filter(wheel=wheel).select_related("place").first()
    of_day = list(
        Wheel.objects.standing().filter(vat__day=wheel.vat.day, vat__struck_at=None).order_by("pk")
    )
    grades = last_grades([one.pk for one in of_day], at)
    twin = next((one for one in of_day if one.vat_id == wheel.vat_id and one != wheel), None)
    others = Counter(
        grades[one.pk].grade for one in of_day if one.pk in grades and one.pk != wheel.pk
    )
    return Ahead(
        wheel=wheel,
        place=lies.place if lies else None,
        age=age_said(local_day(wheel.happened_at), local_day(at)),
        last=grades.get(wheel.pk),
        twin=Twin(wheel=twin, last=grades.get(twin.pk)) if twin else None,
        day=[(str(Grade(code).label), others[code]) for code in RANK if others[code]],
        stayed=stayed_first([one.pk for one in of_day if one.pk != wheel.pk], grades),
    )


def stayed_first(wheel_ids: Sequence[int], grades: dict[int, Any]) -> tuple[int, int]:
    """Of wheels that were first once: how many were inspected later, how many are first still."""
    firsts = Inspection.objects.standing().filter(wheel_id__in=wheel_ids, grade=Grade.FIRST)
    # The earliest time each sounded as it should.
    sound = dict(firsts.order_by("wheel_id", "-happened_at").values_list("wheel_id", "happened_at"))
    later = [
        grades[wheel]
        for wheel, at in sound.items()
        if wheel in grades and grades[wheel].happened_at > at
    ]
    return len(later), sum(one.grade == Grade.FIRST for one in later)
