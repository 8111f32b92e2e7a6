"""How a herd breeds: calving interval, pregnancies, and the rates of 21 days. Pure."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

from config.saying import N_, _
from herd.breeding import (
    EMPTY,
    IN_CALF,
    SERVED,
    Check,
    Life,
    Rules,
    Standing,
    carries,
    meant,
    since,
    standing,
)

RUNNING = N_("still running")
UNCHECKED = N_("{count} not yet checked")
NO_SERVICE = N_("no service written")
NOBODY = N_("none could be served")


def calving_interval(lives: Iterable[Life], today: date) -> tuple[Decimal | None, int]:
    """Mean days between two calvings, of those whose second was in the year to today; how many."""
    year_ago = today - timedelta(days=365)
    gaps = [
        (later - earlier).days
        for life in lives
        for earlier, later in pairwise(life.calvings)
        if year_ago < later <= today
    ]
    return (Decimal(sum(gaps)) / len(gaps) if gaps else None), len(gaps)


@dataclass(frozen=True)
class Pregnancy:
    """In calf since a service, until a calving or a check that said empty; None: still."""

    since: date
    until: date | None = None


def pregnancies(life: Life, rules: Rules) -> list[Pregnancy]:
    """Every time she was in calf: by the checks, or by the calving that followed."""
    ends: list[date | None] = [*life.calvings, None]
    begin: date | None = None
    found: list[Pregnancy] = []
    for end in ends:
        inside = [day for day in since(life.services, begin) if end is None or day <= end]
        checks = [
            check
            for check in life.checks
            if (begin is None or check.on > begin) and (end is None or check.on <= end)
        ]
        found += between_calvings(life, inside, checks, end, rules)
        begin = end
    return found


def between_calvings(
    life: Life, services: list[date], checks: list[Check], end: date | None, rules: Rules
) -> list[Pregnancy]:
    """The times she was in calf between two calvings; ``end``: the later one, None when none."""
    found: list[Pregnancy] = []
    running: date | None = None
    for check in checks:
        if check.result == IN_CALF and running is None:
            running = next(iter(meant(services, check, rules)[-1:]), None)
        elif check.result == EMPTY:
            if running is not None:
                found.append(Pregnancy(running, check.on))
            running = None
    if running is None and end is not None and services:
        running = min(services, key=lambda day: off_by(life, day, end))
    if running is not None:
        found.append(Pregnancy(running, end))
    return found


def off_by(life: Life, served: date, calved: date) -> int:
    """By how many days a calving misses what is expected of a service."""
    days = carries(life.breed, served, heifer=calved == life.calvings[0])
    carried = (calved - served).days
    # Without a row of her breed the service that lies furthest back is taken.
    return -carried if days is None else abs(carried - days)


@dataclass(frozen=True)
class Period:
    """The rates of 21 days ``[begins, ends)``.

    ``unchecked``: cows served in it, still here, of whom no check has said anything yet.
    """

    begins: date
    ends: date
    eligible: int
    served: int
    pregnant: int
    running: bool = False
    unchecked: int = 0

    @property
    def last(self) -> date:
        """The last day that belongs to it."""
        return self.ends - timedelta(days=1)

    @property
    def provisional(self) -> bool:
        """Whether its figures may still change, or say nothing yet."""
        return bool(self.why)

    @property
    def why(self) -> str:
        """Why its figures are no result yet; "" for those that are one."""
        said = [_(RUNNING)] if self.running else []
        if self.unchecked:
            said.append(_(UNCHECKED).format(count=self.unchecked))
        elif not self.served:
            said.append(_(NO_SERVICE) if self.eligible else _(NOBODY))
        return "; ".join(said)

    @property
    def service_rate(self) -> Decimal | None:
        return percent(self.served, self.eligible)

    @property
    def conception_rate(self) -> Decimal | None:
        return percent(self.pregnant, self.served)

    @property
    def rate(self) -> Decimal | None:
        """Pregnancies of the cows that could have become pregnant: the 21-day rate."""
        return percent(self.pregnant, self.eligible)


def percent(part: int, whole: int) -> Decimal | None:
    """A share in per cent to one decimal; None of nothing."""
    return (Decimal(100 * part) / whole).quantize(Decimal("0.1")) if whole else None


@dataclass(frozen=True)
class Cycle:
    """A cow as the rates see her: when she could be served, and what came of it."""

    could: tuple[tuple[date, date], ...]
    carried: tuple[Pregnancy, ...]
    services: tuple[date, ...] = ()
    waiting_for_check: tuple[date, ...] = ()

    def is_eligible(self, begins: date, ends: date, days: int) -> bool:
        """There for so many days of the period, past her waiting days, and empty at its start."""
        there = 0
        for first, until in self.could:
            if first < ends and until > begins:
                there += (min(until, ends) - max(first, begins)).days
        if there < days:
            return False
        for one in self.carried:
            if one.since < begins and (one.until is None or one.until > begins):
                return False
        return True


def cycle(life: Life, today: date, rules: Rules, place: Standing | None = None) -> Cycle:
    """What the rates need of a cow; what is to come is not known.

    ``place``: where she stands today, when that is known already.
    """
    tomorrow = today + timedelta(days=1)
    could = []
    waiting, decisions = timedelta(days=rules.waiting), allowed(life.decisions, tomorrow)
    for begin, end in pairwise((*life.calvings, tomorrow)):
        first = begin + waiting
        for came, left in life.present:
            for decided, until in decisions:
                span = max(first, came, decided), min(end, left or tomorrow, until)
                if span[0] < span[1]:
                    could.append(span)
    place = place or standing(life, today, rules)
    # One that has left will never be checked: what was known of her then stays.
    here = not life.present or life.present[-1][1] is None
    open_services = place.services if here and place.state == SERVED else ()
    return Cycle(tuple(could), tuple(pregnancies(life, rules)), life.services, open_services)


def allowed(decisions: Sequence[tuple[date, bool]], until: date) -> list[tuple[date, date]]:
    """The spans in which she was to be served."""
    changes = [(date.min, True), *decisions, (until, False)]
    return [(day, later) for (day, serve), (later, _) in pairwise(changes) if serve and day < later]


def rates(cows: Sequence[Cycle], today: date, rules: Rules, periods: int) -> list[Period]:
    """The last periods of 21 days, the running one first."""
    length = timedelta(days=rules.period)
    ends = today + timedelta(days=1)
    found: list[Period] = []
    for _period in range(periods):
        found.append(rate_of(cows, (ends - length, ends), rules, running=not found))
        ends -= length
    return found


def rate_of(
    cows: Sequence[Cycle], span: tuple[date, date], rules: Rules, *, running: bool
) -> Period:
    """The rates of one period."""
    begins, ends = span
    there = [cow for cow in cows if cow.is_eligible(begins, ends, rules.present)]
    served = [cow for cow in there if any(begins <= day < ends for day in cow.services)]
    pregnant = sum(any(begins <= one.since < ends for one in cow.carried) for cow in served)
    unchecked = sum(any(begins <= day < ends for day in cow.waiting_for_check) for cow in served)
    return Period(begins, ends, len(there), len(served), pregnant, running, unchecked)
