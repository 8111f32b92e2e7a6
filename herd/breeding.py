"""From calving to calving: what a cow is in, when she is due, when to dry her off. Pure.

Days are dates of the estate's calendar; today is an argument. The days a breed carries, the waiting
days and the rest are dated rows, never numbers in here.
"""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

IN_CALF, EMPTY, DOUBT = "in calf", "empty", "doubt"
OPEN, SERVED = "open", "served"
WEEK = 7

# Herd books write some breeds with two letters (published breed list).
SHORT_BREEDS = {
    "AB": "ABO",
    "BS": "BSW",
    "GU": "GUE",
    "HO": "HOL",
    "JE": "JER",
    "MO": "MON",
    "RW": "RED",
}


@dataclass(frozen=True, kw_only=True)
class Rules:
    """The days breeding is judged by; ``RULE_NAMES`` says which dated row is which."""

    waiting: int
    dry: int
    margin: int
    ahead: int
    weekday: int
    check_from: int
    check_until: int
    spread: int
    cycle_short: int
    cycle_long: int
    period: int
    present: int
    due_ahead: int
    fresh: int


# Name of the dated row, by field of Rules.
RULE_NAMES = {
    "waiting": "breeding: waiting days",
    "dry": "dry-off: days before calving",
    "margin": "dry-off: margin on the tube",
    "ahead": "dry-off: listed ahead",
    "weekday": "dry-off: day of the round",
    "check_from": "breeding: check from",
    "check_until": "breeding: check until",
    "spread": "breeding: calving may differ by",
    "cycle_short": "breeding: shortest cycle",
    "cycle_long": "breeding: longest cycle",
    "period": "breeding: period of the rate",
    "present": "breeding: days she must be there",
    "due_ahead": "calving: listed ahead",
    "fresh": "fresh cow: looked at for",
}


@dataclass(frozen=True)
class Breed:
    """From a day on, animals of a breed carry so many days, heifers some less."""

    days: int
    heifer_less: int
    valid_from: date


@dataclass(frozen=True)
class Check:
    """A look whether she is in calf; ``days``: how long she carries, when it was estimated."""

    on: date
    result: str
    days: int | None = None


@dataclass(frozen=True, kw_only=True)
class Life:
    """What was written of one animal's breeding, each in order of time.

    ``decisions``: from a day on, whether she is to be served. ``present``: spans ``[from, until)``
    on the estate. ``breed``: the rows of her breed; none when it is not known.
    """

    calvings: tuple[date, ...] = ()
    services: tuple[date, ...] = ()
    checks: tuple[Check, ...] = ()
    heats: tuple[date, ...] = ()
    dry_offs: tuple[date, ...] = ()
    decisions: tuple[tuple[date, bool], ...] = ()
    present: tuple[tuple[date, date | None], ...] = ()
    breed: tuple[Breed, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Standing:
    """Where an animal stands between two calvings.

    ``fertile``: the service she carries from, or both when it is not clear which; ``due``: a date
    for each, empty when her breed has no row. ``sure``: a check has said so.
    """

    state: str
    calved: date | None = None
    fertile: tuple[date, ...] = ()
    due: tuple[date, ...] = ()
    sure: bool = False
    services: tuple[date, ...] = ()
    check: Check | None = None
    heat: date | None = None
    dry_since: date | None = None
    serve: bool = True


def carries(breed: Iterable[Breed], served: date, *, heifer: bool) -> int | None:
    """The days an animal served on a day carries; None when her breed has no row then."""
    valid = [row for row in breed if row.valid_from <= served]
    row = max(valid, key=lambda row: row.valid_from, default=None)
    return None if row is None else row.days - (row.heifer_less if heifer else 0)


def due_dates(services: Iterable[date], breed: Sequence[Breed], *, heifer: bool) -> Iterable[date]:
    """The expected calving of each service, in order."""
    for served in sorted(services):
        days = carries(breed, served, heifer=heifer)
        if days is not None:
            yield served + timedelta(days=days)


def since(moments: Iterable[date], day: date | None) -> tuple[date, ...]:
    """The dates after a day; all of them without one."""
    return tuple(moment for moment in moments if day is None or moment > day)


def between(moments: Sequence[date], day: date | None, today: date) -> Sequence[date]:
    """Of dates in order those after a day (all without one) and up to today."""
    first = bisect_right(moments, day) if day is not None else 0
    return moments[first : bisect_right(moments, today)]


def last_between(moments: Sequence[date], day: date | None, today: date) -> date | None:
    """The last of them, None when there is none."""
    found = between(moments, day, today)
    return found[-1] if found else None


def standing(life: Life, today: date, rules: Rules) -> Standing:
    """Where she stands today, from what was written since she last calved."""
    calved = last_between(life.calvings, None, today)
    services = tuple(between(life.services, calved, today))
    checks = [
        check
        for check in life.checks
        if check.on <= today and (calved is None or check.on > calved)
    ]
    state, fertile, sure = carrying(services, checks, rules)
    return Standing(
        state=state,
        calved=calved,
        fertile=fertile,
        due=tuple(due_dates(fertile, life.breed, heifer=calved is None)),
        sure=sure,
        services=services,
        check=checks[-1] if checks else None,
        heat=last_between(life.heats, calved, today),
        dry_since=last_between(life.dry_offs, calved, today),
        serve=to_be_served(life.decisions, today),
    )


def to_be_served(decisions: Iterable[tuple[date, bool]], day: date) -> bool:
    """Whether she is to be served on a day: as was decided last, and yes without a word on it."""
    decided = [serve for since_day, serve in decisions if since_day <= day]
    return decided[-1] if decided else True


def carrying(
    services: Sequence[date], checks: Sequence[Check], rules: Rules
) -> tuple[str, tuple[date, ...], bool]:
    """State, the services she may carry from, and whether a check has said so.

    A check sees nothing of a service younger than ``check_from``; so an empty one leaves that
    service open, and one that says in calf means an older one. A service after a check that said in
    calf puts the check in doubt.
    """
    left, said_on = list(services), None
    fertile: tuple[date, ...] = ()
    for check in checks:
        if check.result == EMPTY:
            left = [day for day in left if (check.on - day).days < rules.check_from]
            fertile, said_on = (), None
        elif check.result == IN_CALF:
            fertile, said_on = meant(left, check, rules), check.on
    if said_on:
        again = [day for day in left if day > said_on]
        if not again:
            return IN_CALF, fertile, True
        return SERVED, (*fertile, again[-1]), False
    if left:
        return SERVED, last_two(left, rules), False
    return OPEN, (), False


def meant(services: Sequence[date], check: Check, rules: Rules) -> tuple[date, ...]:
    """The services a check that says in calf can mean; both of two a cycle apart."""
    before = [day for day in services if day <= check.on]
    seen = [day for day in before if (check.on - day).days >= rules.check_from] or before
    if check.days is not None:
        near = [
            day for day in seen if abs((check.on - day).days - check.days) <= rules.cycle_short // 2
        ]
        if near:
            return (near[-1],)
    return last_two(seen, rules)


def last_two(services: Sequence[date], rules: Rules) -> tuple[date, ...]:
    """The last service, and the one before when no more than a cycle lies between them."""
    if not services:
        return ()
    last = services[-1]
    return (*(day for day in services[-2:-1] if (last - day).days <= rules.cycle_long), last)


def days_open(place: Standing, today: date) -> tuple[int, bool] | None:
    """Days from calving to the service she carries from; to today, and True, while she is empty.

    None for one that has not calved. Until a check has said in calf she counts as empty.
    """
    if place.calved is None:
        return None
    if place.sure and place.fertile:
        return (place.fertile[-1] - place.calved).days, False
    return (today - place.calved).days, True


def round_before(day: date, weekday: int) -> date:
    """The last day of the round (1 Monday to 7 Sunday) on or before a day."""
    return day - timedelta(days=(day.isoweekday() - weekday) % WEEK)


def round_after(day: date, weekday: int) -> date:
    """The first day of the round on or after a day."""
    return day + timedelta(days=(weekday - day.isoweekday()) % WEEK)


@dataclass(frozen=True)
class DryOffPlan:
    """On which round she is dried off for a calving, and how many days she is dry then.

    ``by``: the day by which it should be. Of two possible calvings the earlier one counts.
    """

    due: date
    by: date
    on: date

    @property
    def days(self) -> int:
        return (self.due - self.on).days

    def short_of(self, tube_days: int, margin: int) -> int:
        """By how many days a tube's minimum and the margin are missed; 0 when it fits."""
        return max(tube_days + margin - self.days, 0)

    def put_off(self) -> "DryOffPlan":
        """The same a week later."""
        return DryOffPlan(self.due, self.by, self.on + timedelta(days=WEEK))


def dry_off_plan(place: Standing, today: date, rules: Rules) -> DryOffPlan | None:
    """The round she is dried off on: the last one early enough, or the next when that is past.

    None without an expected calving, when she is dry, or was never in milk.
    """
    if not place.due or place.dry_since or place.calved is None:
        return None
    by = place.due[0] - timedelta(days=rules.dry)
    on = max(round_before(by, rules.weekday), round_after(today, rules.weekday))
    return DryOffPlan(place.due[0], by, on)
