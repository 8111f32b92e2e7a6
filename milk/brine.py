"""How long a wheel stays in brine, and whether it was taken out in time. Pure.

Days in brine are whole days of the estate's calendar, to the hour of its clock at which the wheel
went in: people turn up by the clock, and an hour more or less at the change of the clocks is
nothing to the salt. (A withdrawal period, which is about milk, runs in elapsed time instead.)
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from config.saying import N_

IN_TIME, TOO_SHORT, TOO_LONG, NOT_SET = N_("in time"), N_("too short"), N_("too long"), ""


@dataclass(frozen=True, kw_only=True)
class Terms:
    """What the estate set for wheels put in on a day; None where it set nothing.

    ``days`` in brine; ``short``: hours too early that still count; ``over``: days over from which
    it is too long; ``late``: days over from which somebody is told.
    """

    days: Decimal | None = None
    short: Decimal | None = None
    over: Decimal | None = None
    late: Decimal | None = None


@dataclass(frozen=True, kw_only=True)
class Soak:
    """A wheel's time in brine: from ``put_in`` to ``taken_out`` (None: it lies there still)."""

    put_in: datetime
    taken_out: datetime | None
    terms: Terms
    zone: ZoneInfo

    @property
    def due(self) -> datetime | None:
        """When it should come out; None when the estate set no days."""
        if self.terms.days is None:
            return None
        return same_hour(self.put_in, int(self.terms.days), self.zone)

    def days(self, at: datetime) -> int:
        """Whole days it has lain there at ``at``, or had when it was taken out."""
        until = self.taken_out or at
        return whole_days(self.put_in, max(until, self.put_in), self.zone)

    def days_left(self, at: datetime) -> int | None:
        """Calendar days from the day of ``at`` to the day it is due, below 0 when that is past."""
        due = self.due
        return None if due is None else (self.day(due) - self.day(at)).days

    def judged(self, at: datetime) -> str:
        """One of the words above, for a wheel that was taken out, or lies there at ``at``."""
        due = self.due
        if due is None:
            return NOT_SET
        until = self.taken_out or at
        if self.taken_out is not None and until < due - hours(self.terms.short):
            return TOO_SHORT
        over = self.terms.over
        if over is not None and until > same_hour(due, int(over), self.zone):
            return TOO_LONG
        return IN_TIME

    def is_late(self, at: datetime) -> bool:
        """Whether it lies there so many days over that somebody is to be told."""
        due, late = self.due, self.terms.late
        if due is None or late is None or self.taken_out is not None:
            return False
        return at > same_hour(due, int(late), self.zone)

    def day(self, moment: datetime) -> date:
        return moment.astimezone(self.zone).date()


def same_hour(moment: datetime, days: int, zone: ZoneInfo) -> datetime:
    """The same hour of the clock so many days later, in UTC.

    An hour that the clocks skip is the one after it; of one that comes twice the first.
    """
    local = moment.astimezone(zone).replace(fold=0)
    return (local + timedelta(days=days)).astimezone(UTC)


def whole_days(start: datetime, end: datetime, zone: ZoneInfo) -> int:
    """Days of the calendar from ``start`` to ``end`` that are full at the hour of ``start``."""
    days = (end.astimezone(zone).date() - start.astimezone(zone).date()).days
    return days if end >= same_hour(start, days, zone) else days - 1


def hours(number: Decimal | None) -> timedelta:
    """So many hours; none when nothing was set."""
    return timedelta(hours=float(number or 0))


def by_number(name: str) -> tuple[int, str]:
    """The order of names of rows: “9” before “10”."""
    return (int(name) if name.isdecimal() else 0, name)
