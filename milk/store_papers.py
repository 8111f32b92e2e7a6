"""Papers of the store: the stock by age and grade for bank and insurer, and the climate log."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db import connection
from django.utils import timezone

from config.days import estate_zone, local_day, start_of
from config.entries import Entry, EntryT
from config.papers import Column, Line, Paper, Part
from milk.age import months_later
from milk.bands import Band, plain
from milk.brine import TOO_LONG, TOO_SHORT, Soak
from milk.brine_board import reading_says, soak_words, terms_on
from milk.climate import bands_on
from milk.figures import Dated
from milk.models import (
    BrineReading,
    Grade,
    RoomReading,
    StoreRound,
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
        return Grade(self.grade).label if self.grade else "not graded"


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
    return timezone.localtime(moment).strftime("%Y-%m-%d %H:%M") if moment else ""


def climate_paper(first: date, last: date, made_by: str) -> Paper:
    """What was measured of baths and rooms, and the rounds, from day to day, both included."""
    since, until = start_of(first), start_of(last + timedelta(days=1))
    figures = Dated()
    return Paper(
        title="Log of brine and store",
        stem=f"brine and store {first} to {last}",
        made_by=made_by,
        made_at=timezone.now(),
        about=(f"{first} to {last}, both included.",),
        parts=(
            brine_part(since, until, figures),
            soak_part(since, until, figures),
            room_part(since, until, figures),
            round_part(since, until),
        ),
    )


def between(model: type[EntryT], since: datetime, until: datetime) -> Iterator[EntryT]:
    """The entries of a model between two moments, struck ones too, in order."""
    rows = model.objects.filter(happened_at__gte=since, happened_at__lt=until)
    return iter(rows.select_related("by", "struck_by").order_by("happened_at", "id"))


def struck_words(entry: Entry) -> str:
    """Who struck an entry, when and why; "" for one that stands."""
    if not entry.is_struck:
        return ""
    why = f"{entry.get_struck_reason_display()} {entry.struck_words}".strip()
    return f"{told(entry.struck_at)} by {entry.struck_by}: {why}"


def brine_part(since: datetime, until: datetime, figures: Dated) -> Part:
    """Readings of the baths, what was out of its band, and salt put in."""
    lines = []
    for entry in between(BrineReading, since, until):
        out = [words for words, is_out in reading_says(entry, figures) if is_out]
        lines.append(
            Line(
                (
                    told(entry.happened_at),
                    entry.bath,
                    "" if entry.strength is None else f"{plain(entry.strength)} {entry.unit}",
                    "" if entry.temperature is None else plain(entry.temperature),
                    "" if entry.salt_kg is None else plain(entry.salt_kg),
                    entry.salt_batch,
                    "turned" if entry.turned else "",
                    "; ".join(out),
                    str(entry.by),
                ),
                struck=struck_words(entry),
                url=f"/entries/brine-readings/{entry.uuid}/",
                loud=bool(out),
            )
        )
    heads = ("When", "Bath", "Strength", "°C", "Salt, kg", "Batch of salt", "Wheels", "Out", "By")
    return Part(
        tuple(Column(head, 2 if head in ("When", "Out") else 1) for head in heads),
        tuple(lines),
        title="Brine",
        empty="No reading of a bath is written of these days.",
    )


_SOAKS = """
SELECT stay.bath, stay.row, done.put_in_at, done.happened_at, count(*),
       min(wheel.plate), max(wheel.plate)
FROM milk_brineout AS done JOIN milk_brinestay AS stay ON stay.id = done.stay_id
JOIN milk_wheel AS wheel ON wheel.id = done.wheel_id
WHERE done.struck_at IS NULL AND done.happened_at >= %(since)s AND done.happened_at < %(until)s
GROUP BY stay.bath, stay.row, done.put_in_at, done.happened_at
ORDER BY done.happened_at, stay.bath, stay.row
"""


def soak_of(put_in: datetime, out: datetime, figures: Dated) -> Soak:
    """A finished time in brine, by what the estate had set when it began."""
    terms = terms_on(figures, local_day(put_in))
    return Soak(put_in=put_in, taken_out=out, terms=terms, zone=estate_zone())


def soak_part(since: datetime, until: datetime, figures: Dated) -> Part:
    """Rows taken out: days in brine, and which were too short or too long."""
    with connection.cursor() as cursor:
        cursor.execute(_SOAKS, {"since": since, "until": until})
        rows = cursor.fetchall()
    lines = tuple(
        Line(
            (
                f"{bath}/{row}" if row else bath,
                told(put_in),
                told(out),
                str(number),
                first if number == 1 else f"{first} to {last}",
                soak_words(soak := soak_of(put_in, out, figures), out),
            ),
            loud=soak.judged(out) in (TOO_SHORT, TOO_LONG),
        )
        for bath, row, put_in, out, number, first, last in rows
    )
    heads = ("Bath and row", "In", "Out", "Wheels", "Plates", "Days")
    return Part(
        tuple(Column(head, 2 if head == "Plates" else 1) for head in heads),
        lines,
        title="Taken out of brine",
        empty="Nothing was taken out of brine on these days.",
    )


def room_part(since: datetime, until: datetime, figures: Dated) -> Part:
    """Readings of the rooms, and what was out of its band."""
    lines = []
    for entry in between(RoomReading, since, until):
        warmth, damp = bands_on(figures, local_day(entry.happened_at))
        out = [*sided(warmth, entry.temperature, "°C"), *sided(damp, entry.humidity, "%")]
        lines.append(
            Line(
                (
                    told(entry.happened_at),
                    entry.room,
                    "" if entry.temperature is None else plain(entry.temperature),
                    "" if entry.humidity is None else plain(entry.humidity),
                    "; ".join(out),
                    str(entry.by),
                ),
                struck=struck_words(entry),
                url=f"/entries/room-readings/{entry.uuid}/",
                loud=bool(out),
            )
        )
    heads = ("When", "Room", "°C", "Humidity, %", "Out", "By")
    return Part(
        tuple(Column(head, 2 if head in ("When", "Out") else 1) for head in heads),
        tuple(lines),
        title="Rooms",
        empty="No reading of a room is written of these days.",
    )


def sided(band: Band, value: Decimal | None, unit: str) -> Iterator[str]:
    """On which side of its band a value is, with the end it passes."""
    if value is None:
        return
    side = band.side(value)
    end = band.low if side == "below" else band.high
    if side and end is not None:
        yield f"{side} {plain(end)} {unit}"


def round_part(since: datetime, until: datetime) -> Part:
    """What was done to which aisle."""
    lines = tuple(
        Line(
            (told(e.happened_at), e.room, str(e.aisle), e.get_what_display(), str(e.by)),
            struck=struck_words(e),
        )
        for e in between(StoreRound, since, until)
    )
    heads = ("When", "Room", "Aisle", "Done", "By")
    return Part(
        tuple(Column(head) for head in heads),
        lines,
        title="Rounds",
        empty="No round is written of these days.",
    )
