"""How warm milk may be so long after milking, and how old. Pure: the moment is an argument.

Elapsed time is real time; days are those of the estate's calendar and come in as such. Equality
passes: 8.0 °C where at most 8 °C is asked, and a reading at the very minute.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from enum import StrEnum

from config.saying import N_, _, figures
from milk.limits import plain


class From(StrEnum):
    """What the time is counted from."""

    START = "start"
    END = "end"
    RECEIPT = "receipt"


FROM_SAID = {
    From.START: N_("the start of milking"),
    From.END: N_("the end of milking"),
    From.RECEIPT: N_("its arrival"),
}


@dataclass(frozen=True, kw_only=True)
class Cooled:
    """At most so many °C from ``within`` after ``counted_from`` on.

    ``used_within``: milk poured so soon after it need not be cooled.
    """

    at_most: Decimal
    within: timedelta
    counted_from: From
    scheme: str
    used_within: timedelta | None = None

    @property
    def words(self) -> str:
        hours = self.within.total_seconds() / 3600
        when = _("{hours} h after").format(hours=figures(f"{hours:g}")) if hours else _("from")
        counted = _(FROM_SAID[self.counted_from])
        return _("at most {at_most} °C {when} {counted} ({scheme})").format(
            at_most=plain(self.at_most), when=when, counted=counted, scheme=self.scheme
        )


@dataclass(frozen=True, kw_only=True)
class Age:
    """In the vat within so long of when its oldest milking began, or within so many days.

    ``warmer_than``: only milk that is warmer than that.
    """

    scheme: str
    within: timedelta | None = None
    days: int | None = None
    warmer_than: Decimal | None = None

    @property
    def words(self) -> str:
        if self.within is not None:
            span = f"{self.within.total_seconds() / 3600:g} h"
        else:
            span = _("{days} calendar days").format(days=self.days)
        warm = (
            ""
            if self.warmer_than is None
            else _(" when warmer than {warmer_than} °C").format(warmer_than=plain(self.warmer_than))
        )
        return _("used within {span} of its oldest milking{warm} ({scheme})").format(
            span=span, warm=warm, scheme=self.scheme
        )


@dataclass(frozen=True, kw_only=True)
class Milking:
    """When milk of a lot was milked, or arrived."""

    start: datetime
    end: datetime | None = None
    receipt: datetime | None = None


@dataclass(frozen=True, kw_only=True)
class Reading:
    """A temperature of a lot's milk: when, °C, and where it was read."""

    at: datetime
    celsius: Decimal
    where: str = ""


@dataclass(frozen=True, kw_only=True)
class TooWarm:
    """A reading above what its rule allows by then."""

    reading: Reading
    rule: Cooled
    since: datetime


def due_at(milkings: Iterable[Milking], rule: Cooled) -> datetime | None:
    """From when on the milk must be cold; None where nothing is known to count from.

    Counted from the start it is the first milking's, from the end the last one's: warm milk on top
    of cold is judged when all of it is in.
    """
    known = list(milkings)
    if rule.counted_from is From.START:
        moments = [milking.start for milking in known]
        first = min(moments, default=None)
    else:
        ends = [
            milking.receipt if rule.counted_from is From.RECEIPT else milking.end
            for milking in known
        ]
        first = max((end for end in ends if end is not None), default=None)
    return None if first is None else first + rule.within


def too_warm(
    readings: Iterable[Reading],
    milkings: Sequence[Milking],
    rules: Iterable[Cooled],
    used_at: datetime | None = None,
) -> list[TooWarm]:
    """The readings that are too warm, each by the rules it breaks, oldest first.

    ``used_at``: when the last of the milk was poured; a rule that lets milk used soon go without
    cooling is not held against it then.
    """
    found = []
    for rule in rules:
        due = due_at(milkings, rule)
        if due is None or used_soon(milkings, rule, used_at):
            continue
        if rule.used_within is not None and used_at is None:
            # It may still be poured in time.
            due = max(due, first_end(milkings) + rule.used_within)
        found += [
            TooWarm(reading=reading, rule=rule, since=due)
            for reading in readings
            if reading.at >= due and reading.celsius > rule.at_most
        ]
    return sorted(found, key=lambda one: one.reading.at)


def used_soon(milkings: Sequence[Milking], rule: Cooled, used_at: datetime | None) -> bool:
    """Whether all the milk was poured so soon that it need not have been cooled."""
    if rule.used_within is None or used_at is None or not milkings:
        return False
    return used_at <= first_end(milkings) + rule.used_within


def first_end(milkings: Sequence[Milking]) -> datetime:
    """When the first of the milkings was over, as far as it is known."""
    return min(milking.end or milking.start for milking in milkings)


def cooled_in_time(milkings: Iterable[Milking], rule: Cooled, reached_at: datetime) -> bool:
    """Whether milk that first was cold enough at ``reached_at`` was so in time."""
    due = due_at(milkings, rule)
    return due is None or reached_at <= due


def use_by(oldest: datetime, rule: Age) -> datetime | None:
    """The moment milk whose oldest milking began then must be used by; None for a rule in days."""
    return None if rule.within is None else oldest + rule.within


def last_day(oldest_on: date, rule: Age) -> date | None:
    """The last day milk first milked on ``oldest_on`` may leave; None for a rule in hours."""
    return None if rule.days is None else oldest_on + timedelta(days=rule.days)


def too_old(
    oldest: datetime, rule: Age, at: datetime, *, oldest_on: date, on: date, celsius: Decimal | None
) -> bool | None:
    """Whether milk not used yet is too old at ``at``; None when its temperature is not known.

    ``oldest_on`` and ``on``: the estate's days of the two moments; ``celsius``: the last reading.
    """
    by, last = use_by(oldest, rule), last_day(oldest_on, rule)
    passed = (by is not None and at > by) or (last is not None and on > last)
    if not passed:
        return False
    if rule.warmer_than is None:
        return True
    return None if celsius is None else celsius > rule.warmer_than
