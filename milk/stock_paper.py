"""The stock by age and grade, for bank and insurer, as page, paper and table. Reads only."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import connection

from config.days import local, local_day, start_of
from config.papers import Column, Line, Paper, Part
from milk.age import months_later
from milk.models import (
    Grade,
    WheelPlace,
)

# Months from which a class of age begins; the estate's classes of grading and trade.
AGES = (0, 6, 12, 18, 24, 30, 36)
STOCK_ABOUT = "Wheels that are here by the book, in brine or store, by age and last grade."
CAUTION_STOCK = (
    "By the book. What was counted, when, and what differed stands below; an aisle that was never "
    "counted is only what was written."
)
# The last grade and the last weight of each wheel that is here; the younger half has no grade. What
# a wheel lost is known of those that were weighed again, which the last column counts; within its
# first days a wheel was only weighed to put its weight right.
_STOCK = """
SELECT age, grade, count(*), sum(COALESCE(again, fresh)),
       sum(fresh) FILTER (WHERE again IS NOT NULL),
       sum(again) FILTER (WHERE fresh IS NOT NULL), count(fresh + again)
FROM (
    SELECT width_bucket(wheel.happened_at, %(bounds)s::timestamptz[]) AS age,
           COALESCE(last.grade, '') AS grade, wheel.kg AS fresh,
           CASE WHEN put.happened_at > tapped.happened_at OR tapped.kg IS NULL THEN put.kg
                ELSE tapped.kg END AS again
    FROM milk_wheelplace AS lies JOIN milk_wheel AS wheel ON wheel.id = lies.wheel_id
    LEFT JOIN LATERAL (
        SELECT grade FROM milk_inspection AS seen
        WHERE seen.wheel_id = wheel.id AND seen.struck_at IS NULL AND seen.happened_at <= %(at)s
        ORDER BY seen.happened_at DESC, seen.id DESC LIMIT 1) AS last ON true
    LEFT JOIN LATERAL (
        SELECT happened_at, kg FROM milk_inspection AS seen
        WHERE last.grade IS NOT NULL AND seen.wheel_id = wheel.id AND seen.struck_at IS NULL
          AND seen.kg IS NOT NULL AND seen.happened_at <= %(at)s
        ORDER BY seen.happened_at DESC, seen.id DESC LIMIT 1) AS tapped ON true
    LEFT JOIN LATERAL (
        SELECT happened_at, kg FROM milk_wheelweight AS scale
        WHERE scale.wheel_id = wheel.id AND scale.struck_at IS NULL AND scale.happened_at <= %(at)s
          AND scale.happened_at > wheel.happened_at + interval '7 days'
        ORDER BY scale.happened_at DESC, scale.id DESC LIMIT 1) AS put ON true
    WHERE lies.what NOT IN ('sent', 'lost') AND wheel.struck_at IS NULL
) AS here GROUP BY age, grade
"""
_COUNTS = """
SELECT aisle.room, aisle.aisle, aisle.wheels, count.happened_at, count.expected, count.found,
       jsonb_array_length(count.differences) AS differences
FROM (SELECT place.room, place.aisle, count(*) AS wheels
      FROM milk_wheelplace AS lies JOIN milk_storeplace AS place ON place.id = lies.place_id
      GROUP BY place.room, place.aisle) AS aisle
LEFT JOIN LATERAL (
    SELECT happened_at, expected, found, differences FROM milk_stockcount AS done
    WHERE done.room = aisle.room AND done.aisle = aisle.aisle AND done.struck_at IS NULL
    ORDER BY happened_at DESC, id DESC LIMIT 1) AS count ON true
ORDER BY aisle.room, aisle.aisle
"""


@dataclass(frozen=True)
class StockRow:
    """Wheels of one class of age and one last grade: pieces, and kg by the last weight.

    ``again``: how many of them were weighed again after 24 h; these weighed ``fresh`` kg then and
    ``later`` kg since.
    """

    age: int
    grade: str
    wheels: int
    kg: float
    fresh: float = 0
    later: float = 0
    again: int = 0

    @property
    def loss(self) -> float | None:
        """What those weighed again lost since 24 h, in per cent; None when there are none."""
        return 100 * (self.fresh - self.later) / self.fresh if self.fresh else None

    @property
    def loss_words(self) -> str:
        return "" if self.loss is None else f"{self.loss:.1f} % of {self.again}"

    @property
    def age_words(self) -> str:
        """The class of age in full months."""
        if self.age == len(AGES) - 1:
            return f"{AGES[-1]} months and more"
        return f"{AGES[self.age]} to {AGES[self.age + 1] - 1} months"

    @property
    def grade_words(self) -> str:
        return str(Grade(self.grade).label) if self.grade else "not graded"


def stock(at: datetime) -> list[StockRow]:
    """The stock by age and grade, the oldest first; one statement."""
    today = local_day(at)
    # A wheel is so many months old from the day of ``months_later``; turned round, it was made
    # before the first day of which that is not yet true.
    bounds = sorted(start_of(first_younger(months, today)) for months in AGES[1:])
    with connection.cursor() as cursor:
        cursor.execute(_STOCK, {"bounds": bounds, "at": at})
        rows = [
            StockRow(
                len(AGES) - 1 - age,
                grade,
                wheels,
                float(kg or 0),
                float(fresh or 0),
                float(later or 0),
                again,
            )
            for age, grade, wheels, kg, fresh, later, again in cursor.fetchall()
        ]
    order = [*Grade.values, ""]
    return sorted(rows, key=lambda row: (-row.age, order.index(row.grade)))


def first_younger(months: int, today: date) -> date:
    """The first day on which a wheel can be made that is not so many full months old today."""
    day = today - timedelta(days=months * 31 + 1)
    while months_later(day, months) <= today:
        day += timedelta(days=1)
    return day


def stock_paper(at: datetime, made_by: str) -> Paper:
    """The stock of wheels for bank and insurer, with the counts behind it."""
    rows = stock(at)
    wheels, kg = sum(row.wheels for row in rows), sum(row.kg for row in rows)
    counts, never, differing = counted()
    lost = WheelPlace.objects.filter(what=WheelPlace.What.LOST).count()
    missing = []
    if lost:
        missing.append(f"{lost} wheel{'' if lost == 1 else 's'} not found: left out above.")
    if never:
        missing.append(f"{never} aisle{'' if never == 1 else 's'} never counted.")
    if differing:
        missing.append(f"{differing} difference{'' if differing == 1 else 's'} in the last counts.")
    return Paper(
        title="Stock of wheels",
        stem=f"stock of wheels {local_day(at)}",
        made_by=made_by,
        made_at=at,
        about=(STOCK_ABOUT, CAUTION_STOCK),
        answer=f"{wheels:,} wheels, {kg:,.0f} kg by their last weight.",
        missing=tuple(missing),
        missing_title="What the counts say",
        parts=(
            Part(
                (
                    Column("Age, full months", 2),
                    Column("Last grade", 2),
                    Column("Wheels", 1, figures=True),
                    Column("kg by the last weight", 1, figures=True),
                    Column("Lost since 24 h, weighed again", 1.2, figures=True),
                ),
                tuple(
                    Line(
                        (
                            row.age_words,
                            row.grade_words,
                            str(row.wheels),
                            f"{row.kg:.0f}",
                            row.loss_words,
                        )
                    )
                    for row in rows
                ),
                title="By age and grade",
                empty="No wheel lies in brine or store.",
            ),
            counts,
        ),
    )


def counted() -> tuple[Part, int, int]:
    """The last count of each aisle, how many were never counted, and the differences."""
    with connection.cursor() as cursor:
        cursor.execute(_COUNTS)
        rows = cursor.fetchall()
    lines = tuple(
        Line(
            (
                f"{room}, aisle {aisle}",
                str(wheels),
                told(when),
                "" if expected is None else str(expected),
                "" if found is None else str(found),
                "" if differences is None else str(differences),
            ),
            loud=when is None or bool(differences),
        )
        for room, aisle, wheels, when, expected, found, differences in rows
    )
    part = Part(
        (
            Column("Aisle", 2),
            Column("Wheels now", 1, figures=True),
            Column("Counted", 2),
            Column("By the book then", 1, figures=True),
            Column("Found", 1, figures=True),
            Column("Differences", 1, figures=True),
        ),
        lines,
        title="Last counts",
        empty="No aisle has wheels.",
    )
    return part, sum(row[3] is None for row in rows), sum(row[6] or 0 for row in rows)


def told(moment: datetime | None) -> str:
    return local(moment) if moment else ""
