"""What a course would cost before it is given: milkings, the first one back, and a better time.

Pure arithmetic. Milk that is withheld already for another reason is no cost of the course.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from herd.planned import Span, back_in_tank, planned_starts
from herd.withdrawal import Estate, Ordered, Period, course_period

# How far from its time a dose may reasonably be moved; common practice.
REACH = timedelta(hours=2)


@dataclass(frozen=True)
class Cost:
    """What a course costs. ``until`` and ``back`` with everything else that runs; None: not known.

    ``milkings``: those of hers that start after the first dose and before she is back, and that
    only this course keeps out; ``already``: those that something else keeps out anyway. None when
    nobody knows when she is back, or no milking of hers is planned.
    """

    period: Period | None
    until: datetime | None
    back: datetime | None
    milkings: int | None
    already: int = 0


@dataclass(frozen=True)
class Better:
    """A time near the planned one at which the course costs fewer milkings.

    ``minutes``: later than planned, earlier when below 0.
    """

    minutes: int
    saves: int
    cost: Cost


def cost_of(
    course: Ordered,
    estate: Estate,
    others: Sequence[Span] = (),
    calvings: Sequence[datetime] = (),
) -> Cost:
    """What a course costs an animal that stands where ``estate`` says.

    ``others``: when else her milk is kept out; ``calvings``: hers, in order.
    """
    period = course_period(course, estate, calvings)
    own = [] if period is None or period.zero else [(period.since, period.until)]
    since = period.since if period else course.starts
    until, back = back_in_tank(since, [*others, *own], estate.stands, estate.zone)
    if until is None or back is None:
        return Cost(period, until, None, None)
    starts = milked_between(estate, since, back)
    mine = {start for start in starts if inside(start, own)}
    already = {start for start in starts if inside(start, others)}
    return Cost(period, until, back, len(mine - already), len(already))


def milked_between(estate: Estate, since: datetime, until: datetime) -> list[datetime]:
    """Her planned milkings after a moment and before another.

    One that starts with the dose was milked before it.
    """
    found = []
    for start in planned_starts(estate.stands, estate.zone, since):
        if start >= until:
            break
        if start > since:
            found.append(start)
    return found


def inside(moment: datetime, spans: Iterable[Span]) -> bool:
    """Whether a moment lies in one of these spans."""
    return any(since <= moment and (until is None or moment < until) for since, until in spans)


def better_time(
    course: Ordered,
    estate: Estate,
    others: Sequence[Span] = (),
    calvings: Sequence[datetime] = (),
) -> Better | None:
    """The time nearest to the planned one, two hours either way, that costs fewest milkings.

    None when no such time saves one. Earlier helps when a milking just before the end is missed;
    later, when the one that comes is milked before the first dose.
    """
    planned = cost_of(course, estate, others, calvings)
    if not planned.milkings or planned.period is None or planned.period.until is None:
        return None
    found = []
    for shift in shifts(course, planned.period.until, estate):
        cost = cost_of(replace(course, starts=course.starts + shift), estate, others, calvings)
        if cost.milkings is not None and cost.milkings < planned.milkings:
            minutes = int(shift.total_seconds() // 60)
            found.append(Better(minutes, planned.milkings - cost.milkings, cost))
    return min(found, key=lambda better: (-better.saves, abs(better.minutes)), default=None)


def shifts(course: Ordered, end: datetime, estate: Estate) -> list[timedelta]:
    """By how much to move a course so that it starts with a milking, or ends with one."""
    first = near(estate, course.starts - REACH, course.starts + REACH)
    last = near(estate, end - REACH, end + REACH)
    moved = [start - course.starts for start in first] + [start - end for start in last]
    return [shift for shift in moved if shift and abs(shift) <= REACH]


def near(estate: Estate, since: datetime, until: datetime) -> list[datetime]:
    """Her planned milkings from a moment until another, both included."""
    found = []
    for start in planned_starts(estate.stands, estate.zone, since):
        if start > until:
            break
        found.append(start)
    return found
