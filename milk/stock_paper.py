"""The stock by age and grade, for bank and insurer, as page, paper and table. Reads only."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import connection
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from config.days import local, local_day, start_of
from config.language import in_readers_form
from config.papers import Column, Line, Paper, Part
from config.templatetags.sheet import amount
from milk.age import months_later
from milk.models import (
    Grade,
    WheelPlace,
)

# Months from which a class of age begins; the estate's classes of grading and trade.
AGES = (0, 6, 12, 18, 24, 30, 36)
STOCK_ABOUT = N_("Wheels that are here by the book, in brine or store, by age and last grade.")
CAUTION_STOCK = N_(
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
        return (
            ""
            if self.loss is None
            else _("{loss} % of {again}").format(
                loss=in_readers_form(f"{self.loss:.1f}"), again=self.again
            )
        )

    @property
    def age_words(self) -> str:
        """The class of age in full months."""
        if self.age == len(AGES) - 1:
            return _("{months} months and more").format(months=AGES[-1])
        return _("{first} to {last} months").format(
            first=AGES[self.age], last=AGES[self.age + 1] - 1
        )

    @property
    def grade_words(self) -> str:
        return str(Grade(self.grade).label) if self.grade else _("not graded")


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


def counts_say(lost: int, never: int, differing: int) -> list[str]:
    """What is not found, never counted or counted otherwise, in words."""
    missing = []
    if lost:
        missing.append(
            ngettext(
                "{lost} wheel not found: left out above.",
                "{lost} wheels not found: left out above.",
                lost,
            ).format(lost=lost)
        )
    if never:
        missing.append(
            ngettext("{never} aisle never counted.", "{never} aisles never counted.", never).format(
                never=never
            )
        )
    if differing:
        missing.append(
            ngettext(
                "{differing} difference in the last counts.",
                "{differing} differences in the last counts.",
                differing,
            ).format(differing=differing)
        )
    return missing


def stock_paper(at: datetime, made_by: str) -> Paper:
    """The stock of wheels for bank and insurer, with the counts behind it."""
    rows = stock(at)
    wheels, kg = sum(row.wheels for row in rows), sum(row.kg for row in rows)
    counts, never, differing = counted()
    lost = WheelPlace.objects.filter(what=WheelPlace.What.LOST).count()
    return Paper(
        title=_("Stock of wheels"),
        stem=f"stock of wheels {local_day(at)}",
        made_by=made_by,
        made_at=at,
        about=(_(STOCK_ABOUT), _(CAUTION_STOCK)),
        answer=_("{wheels} wheels, {kg} kg by their last weight.").format(
            wheels=amount(wheels), kg=in_readers_form(f"{kg:,.0f}")
        ),
        missing=tuple(counts_say(lost, never, differing)),
        missing_title=_("What the counts say"),
        parts=(
            Part(
                (
                    Column(_("Age, full months"), 2),
                    Column(_("Last grade"), 2),
                    Column(_("Wheels"), 1, figures=True),
                    Column(_("kg by the last weight"), 1, figures=True),
                    Column(_("Lost since 24 h, weighed again"), 1.2, figures=True),
                ),
                tuple(
                    Line(
                        (
                            row.age_words,
                            row.grade_words,
                            str(row.wheels),
                            in_readers_form(f"{row.kg:.0f}"),
                            row.loss_words,
                        )
                    )
                    for row in rows
                ),
                title=_("By age and grade"),
                empty=_("No wheel lies in brine or store."),
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
                _("{room}, aisle {aisle}").format(room=room, aisle=aisle),
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
            Column(_("Aisle"), 2),
            Column(_("Wheels now"), 1, figures=True),
            Column(_("Counted"), 2),
            Column(_("By the book then"), 1, figures=True),
            Column(_("Found"), 1, figures=True),
            Column(_("Differences"), 1, figures=True),
        ),
        lines,
        title=_("Last counts"),
        empty=_("No aisle has wheels."),
    )
    return part, sum(row[3] is None for row in rows), sum(row[6] or 0 for row in rows)


def told(moment: datetime | None) -> str:
    return local(moment) if moment else ""
