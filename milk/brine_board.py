"""What lies in brine now, by row: what goes out today, what is over; how strong each bath is."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from config.days import day_words, estate_zone
from milk.answers import spans_said
from milk.bands import Band, band_words
from milk.brine import TOO_LONG, TOO_SHORT, Soak, Terms, by_number
from milk.figures import Dated
from milk.models import BrineReading, BrineRow, MilkFigure, WheelPlace
from milk.nouns import counted

What = MilkFigure.What
NOTHING = N_("Nothing comes out of the brine today.")
NO_DAYS = N_("The estate has not set how many days wheels stay in brine (figures of the milk).")
_LAST = """
SELECT reading.* FROM unnest(%(baths)s::text[]) AS named (bath)
CROSS JOIN LATERAL (
    SELECT * FROM milk_brinereading AS done
    WHERE done.bath = named.bath AND done.struck_at IS NULL AND done.happened_at <= %(at)s
      AND done.strength IS NOT NULL
    ORDER BY done.happened_at DESC, done.id DESC LIMIT 1) AS reading
"""


@dataclass(frozen=True)
class Lying:
    """One wheel in brine: plate, since when, and when its stay ends."""

    wheel: int
    plate: str
    bath: str
    row: str
    soak: Soak


@dataclass(frozen=True)
class RowNow:
    """A row of a bath with the wheels in it, the one due first leading; ``at`` is now."""

    bath: str
    row: str
    holds: int | None
    lying: tuple[Lying, ...]
    at: datetime

    def __str__(self) -> str:
        return _("bath {bath}").format(bath=self.bath) + (
            _(", row {row}").format(row=self.row) if self.row else ""
        )

    @property
    def soak(self) -> Soak:
        return self.lying[0].soak

    @property
    def left(self) -> int | None:
        """Days until the first of it is due; below 0 when it is past."""
        return self.soak.days_left(self.at) if self.lying else None

    @property
    def is_due(self) -> bool:
        return self.left is not None and self.left <= 0

    @property
    def is_late(self) -> bool:
        return bool(self.lying) and self.soak.is_late(self.at)

    @property
    def is_too_long(self) -> bool:
        return bool(self.lying) and self.soak.judged(self.at) == TOO_LONG

    @property
    def word(self) -> str:
        """The row's state in words."""
        left = self.left
        if not self.lying:
            return _("empty")
        if left is None:
            return _("in brine")
        if left > 0:
            return ngettext("{left} day left", "{left} days left", left).format(left=left)
        if left == 0:
            return _("OUT TODAY")
        return days_over(-left)

    @property
    def form(self) -> str:
        """The form of the word on the page."""
        if not self.lying:
            return "closed"
        if not self.is_due:
            return "brine"
        return "past" if self.left and self.left < 0 else "first"

    @property
    def plates(self) -> str:
        """The plates in it, in short: “0004001 to 0004012” or with commas."""
        names = sorted(one.plate for one in self.lying)
        if len(names) < 4:
            return ", ".join(names)
        return _("{first} to {last}").format(first=names[0], last=names[-1])

    @property
    def days_differ(self) -> bool:
        """Whether its wheels are due on several days."""
        return len({one.soak.days_left(self.at) for one in self.lying}) > 1


@dataclass(frozen=True)
class BathNow:
    """A bath: its last reading against the estate's bands, in words."""

    bath: str
    reading: BrineReading | None
    says: tuple[str, ...]
    out: bool


@dataclass(frozen=True)
class Board:
    """Every row with something in it, what is due first leading."""

    at: datetime
    rows: tuple[RowNow, ...]
    free: tuple[RowNow, ...]
    baths: tuple[BathNow, ...]
    days_set: bool

    @property
    def due(self) -> tuple[RowNow, ...]:
        """The rows that come out today, or are past."""
        return tuple(row for row in self.rows if row.is_due)

    @property
    def wheels(self) -> int:
        return sum(len(row.lying) for row in self.rows)

    @property
    def answer(self) -> str:
        """What comes out today, in a sentence."""
        if not self.days_set:
            return _(NO_DAYS)
        if not self.due:
            return _(NOTHING)
        wheels = sum(len(row.lying) for row in self.due)
        rows = len(self.due)
        return ngettext(
            "{rows} row with {wheels} comes out today: {rows_said}.",
            "{rows} rows with {wheels} come out today: {rows_said}.",
            rows,
        ).format(rows=rows, wheels=counted(wheels, "wheel"), rows_said=rows_said(self.due))


def days_over(days: int) -> str:
    """So many days over the time, as the word of a row or an aisle."""
    return ngettext("{days} day OVER", "{days} days OVER", days).format(days=days)


def rows_said(rows: Iterable[RowNow]) -> str:
    """Rows in words, bath by bath: "bath 3, row 15; bath 4, rows 6 to 11"."""
    by_bath: dict[str, list[str]] = {}
    for row in rows:
        by_bath.setdefault(row.bath, []).append(row.row)
    return "; ".join(
        _("bath {bath}{rows}").format(bath=bath, rows=of_bath(names))
        for bath, names in by_bath.items()
    )


def of_bath(names: Sequence[str]) -> str:
    """The rows of one bath; "" for a bath without rows."""
    named = [name for name in names if name]
    if not named:
        return ""
    whole = all(name.isascii() and name.isdecimal() for name in named)
    said = spans_said([int(name) for name in named]) if whole else ", ".join(named)
    return ngettext(", row {said}", ", rows {said}", len(named)).format(said=said)


def board(at: datetime | None = None) -> Board:
    """The brine as it stands, by the book. Four statements."""
    at = at or timezone.now()
    figures = Dated()
    lying = lying_now(figures)
    by_row: dict[tuple[str, str], list[Lying]] = {}
    for one in lying:
        by_row.setdefault((one.bath, one.row), []).append(one)
    book = {(row.bath, row.row): row.holds for row in BrineRow.objects.standing()}
    rows = [
        RowNow(bath, row, book.get((bath, row)), tuple(ones), at)
        for (bath, row), ones in by_row.items()
    ]
    empty = [RowNow(bath, row, holds, (), at) for (bath, row), holds in book.items()]
    baths = sorted({bath for bath, _ in (*book, *by_row)}, key=by_number)
    today = timezone.localdate(at)
    return Board(
        at=at,
        rows=tuple(sorted(rows, key=in_order)),
        free=tuple(sorted((r for r in empty if (r.bath, r.row) not in by_row), key=by_name)),
        baths=tuple(baths_now(baths, figures, at)),
        days_set=figures.value(What.BRINE_DAYS, today) is not None,
    )


def in_order(row: RowNow) -> Any:
    return (row.soak.due or row.soak.put_in, *by_name(row))


def by_name(row: RowNow) -> Any:
    return (by_number(row.bath), by_number(row.row))


def lying_now(figures: Dated) -> list[Lying]:
    """Every wheel in brine, the one that went in first leading; one statement."""
    rows = (
        WheelPlace.objects.filter(what=WheelPlace.What.BRINE)
        .order_by("at", "wheel")
        .values_list("wheel", "wheel__plate", "stay__bath", "stay__row", "at")
    )
    zone = estate_zone()
    terms: dict[date, Terms] = {}
    found = []
    for wheel, plate, bath, row, put_in in rows:
        day = put_in.astimezone(zone).date()
        if day not in terms:
            terms[day] = terms_on(figures, day)
        soak = Soak(put_in=put_in, taken_out=None, terms=terms[day], zone=zone)
        found.append(Lying(wheel, plate, bath, row, soak))
    return found


def terms_on(figures: Dated, day: date) -> Terms:
    """What the estate set for wheels put in on a day."""
    return Terms(
        days=figures.value(What.BRINE_DAYS, day),
        short=figures.value(What.BRINE_SHORT, day),
        over=figures.value(What.BRINE_OVER, day),
        late=figures.value(What.BRINE_LATE, day),
    )


def baths_now(baths: Sequence[str], figures: Dated, at: datetime) -> Iterable[BathNow]:
    """The last reading of each bath, judged by the bands of its day."""
    last = last_readings(baths, at)
    for bath in baths:
        found = last.get(bath)
        says = reading_says(found, figures) if found else []
        out = any(words for words, is_out in says if is_out)
        yield BathNow(bath, found, tuple(words for words, _ in says), out)


def last_readings(baths: Sequence[str], at: datetime) -> dict[str, BrineReading]:
    """By bath, its last reading with a strength; a step through the index for each bath."""
    names = list(baths)
    found: Iterable[BrineReading] = BrineReading.objects.raw(_LAST, {"baths": names, "at": at})
    return {reading.bath: reading for reading in found}


def reading_says(reading: BrineReading, figures: Dated) -> list[tuple[str, bool]]:
    """(words, out of its band) for what was measured."""
    day = timezone.localdate(reading.happened_at)
    measured: list[tuple[str, Decimal | None, str, Band]] = [
        ("strength", reading.strength, reading.unit, strength_band(figures, day, reading.unit)),
        (
            "temperature",
            reading.temperature,
            "°C",
            Band(figures.value(What.BRINE_COLD, day), figures.value(What.BRINE_WARM, day)),
        ),
    ]
    return [
        (band_words(name, value, unit, band), band.is_out(value))
        for name, value, unit, band in measured
        if value is not None
    ]


def strength_band(figures: Dated, day: date, unit: str) -> Band:
    """The band of the strength, in the unit it was measured in; none when it is in another."""
    low, high = figures.row(What.BRINE_LOW, day), figures.row(What.BRINE_HIGH, day)
    return Band(
        low.value if low is not None and low.unit == unit else None,
        high.value if high is not None and high.unit == unit else None,
    )


def soak_words(soak: Soak, at: datetime) -> str:
    """A finished or running time in brine, for people."""
    days = soak.days(at)
    words = ngettext("{days} day in brine", "{days} days in brine", days).format(days=days)
    if soak.taken_out is None and soak.due is not None:
        words += _(", out on {day}").format(day=day_words(soak.day(soak.due)))
    judged = soak.judged(at)
    return f"{words}: {_(judged).upper()}" if judged in (TOO_LONG, TOO_SHORT) else words
