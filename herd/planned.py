"""The planned starts of an animal's milkings, and which of them is her first one back in the tank.

Pure arithmetic; moments are aware. "Her milking" is the planned start of the session of the group
she stands in, never its end. Of a start that the clock shows twice (autumn) the earlier moment
counts, because the milking may begin then; one that the clock skips (spring) counts as the later.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import islice
from zoneinfo import ZoneInfo

# How far ahead a first milking is looked for; a group without one in that time has no plan.
LOOK_AHEAD = timedelta(days=60)

# Milk kept out from a moment until another; None: nobody knows until when.
Span = tuple[datetime, datetime | None]


@dataclass(frozen=True)
class PlannedTime:
    """From a day on, this session of a group starts at this time of the estate's clock."""

    session: str
    starts: time
    valid_from: date


@dataclass(frozen=True)
class Stands:
    """An animal stands in a group ``[since, until)``; ``until=None``: still."""

    since: datetime
    until: datetime | None
    times: tuple[PlannedTime, ...] = ()


def both_moments(day: date, clock: time, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The two moments a clock time can mean, in UTC, earlier first; nearly always the same."""
    naive = datetime.combine(day, clock)
    first, second = (naive.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    return min(first, second), max(first, second)


def later_moment(day: date, clock: time, zone: ZoneInfo) -> datetime:
    """The moment of a hand-typed clock time, in UTC; of two the later, which withholds longer."""
    return both_moments(day, clock, zone)[1]


def planned_moment(day: date, clock: time, zone: ZoneInfo) -> datetime:
    """The moment a planned milking starts, in UTC.

    Of a time that comes twice the earlier: a cow must not be let in on a start that may already
    be past. Of a time that is skipped the later: nothing starts before the clock has jumped.
    """
    earlier, later = both_moments(day, clock, zone)
    local = earlier.astimezone(zone).replace(tzinfo=None)
    return earlier if local == datetime.combine(day, clock) else later


def times_on(times: Iterable[PlannedTime], day: date) -> list[time]:
    """The planned starts of a group on a day, on the clock, in order: per session the newest."""
    newest: dict[str, PlannedTime] = {}
    for planned in times:
        held = newest.get(planned.session)
        if planned.valid_from <= day and (held is None or planned.valid_from > held.valid_from):
            newest[planned.session] = planned
    return sorted(planned.starts for planned in newest.values())


def starts_of_stay(stay: Stands, zone: ZoneInfo, after: datetime) -> Iterator[datetime]:
    """The planned starts at or after a moment while she stands there, in UTC, in order."""
    begin = max(after, stay.since)
    end = min(stay.until or begin + LOOK_AHEAD, begin + LOOK_AHEAD)
    # A day early: a start just after midnight UTC belongs to another local date.
    day = begin.astimezone(zone).date() - timedelta(days=1)
    while stay.times and day <= end.astimezone(zone).date():
        for start in sorted(
            planned_moment(day, clock, zone) for clock in times_on(stay.times, day)
        ):
            if begin <= start < end:
                yield start
        day += timedelta(days=1)


def planned_starts(stands: Iterable[Stands], zone: ZoneInfo, after: datetime) -> Iterator[datetime]:
    """Her planned milkings at or after a moment, through all her groups, in UTC, in order.

    ``stands`` in order of time and without overlaps.
    """
    for stay in stands:
        if stay.until is None or stay.until > after:
            yield from starts_of_stay(stay, zone, after)


def first_milking(stands: Iterable[Stands], zone: ZoneInfo, end: datetime) -> datetime | None:
    """Her first planned milking at or after ``end``, in UTC; None when none is planned."""
    return next(planned_starts(stands, zone, end), None)


def milkings_between(
    stands: Iterable[Stands], zone: ZoneInfo, since: datetime, until: datetime
) -> int:
    """How many of her planned milkings start in ``[since, until)``."""
    found = 0
    for start in planned_starts(stands, zone, since):
        if start >= until:
            break
        found += 1
    return found


def is_twice_a_day(stands: Iterable[Stands], zone: ZoneInfo, since: datetime) -> bool:
    """Whether every group that milks her from ``since`` on does so twice a day."""
    numbers = {
        len(times_on(stay.times, max(since, stay.since).astimezone(zone).date()))
        for stay in stands
        if stay.times and (stay.until is None or stay.until > since)
    }
    return numbers == {2}


def numbered_milking(
    stands: tuple[Stands, ...], zone: ZoneInfo, after: datetime, number: int, hours_each: float
) -> datetime:
    """The moment from which milking ``number`` after a moment counts as come, in UTC.

    Milked twice a day: the planned start of that milking, the first being the first one that starts
    later than ``after``. Milked otherwise, nothing planned, or all of it before the first stay that
    is known: ``number`` times ``hours_each`` of real time.
    """
    by_hours = after + timedelta(hours=number * hours_each)
    # Otherwise what happened before the book began would be counted in the milkings of today.
    before_the_book = all(stay.since >= by_hours for stay in stands)
    if before_the_book or not is_twice_a_day(stands, zone, after):
        return by_hours
    later = (start for start in planned_starts(stands, zone, after) if start > after)
    return next(islice(later, number - 1, None), by_hours)


def withheld_until(at: datetime, spans: Iterable[Span]) -> datetime | None:
    """The end of everything that runs at ``at`` or begins before it ends; ``at`` when nothing does.

    None when nobody knows.
    """
    end = at
    for since, until in sorted(spans, key=lambda span: span[0]):
        if since > end:
            break
        if until is None:
            return None
        end = max(end, until)
    return end


def back_in_tank(
    at: datetime, spans: Sequence[Span], stands: Sequence[Stands], zone: ZoneInfo
) -> tuple[datetime | None, datetime | None]:
    """Until when milk is withheld from ``at`` on, and her first planned milking from then on.

    ``(at, ...)`` when nothing runs; None for an end nobody knows, and for a group without a plan.
    """
    end = withheld_until(at, spans)
    while end is not None:
        first = first_milking(stands, zone, end)
        again = withheld_until(first, spans) if first else end
        if again == first or first is None:
            return end, first
        end = again
    return None, None
