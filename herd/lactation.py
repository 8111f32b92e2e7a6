"""Yield of a lactation by the test interval method, and milk corrected for its contents. Pure.

Milk in kg, contents in per cent. The corrected milks keep their names apart: their reference milks
differ, and a number means nothing without the name of its formula. Floats: what is computed here
is an estimate, never compared with a limit.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from config.saying import N_

TOO_EARLY = N_(
    "A test of {on} lies before the calving of {calved}. Leave it out or correct the day."
)
NO_TEST = N_("No test with milk between the calving of {calved} and {until}: there is no yield.")
SAME_DAY = N_("Two tests of {on}. Put the milkings of a day together first.")

Number = float | Decimal


def fcm_4(milk: Number, fat: Number) -> float:
    """Milk at 4 % fat (Gaines): 0.4 x milk + 15 x fat, in the unit of the milk."""
    return 0.4 * float(milk) + 15 * mass(milk, fat)


def ecm_40_33(milk: Number, fat: Number, protein: Number) -> float:
    """Energy-corrected milk against 4.0 % fat and 3.3 % protein (formula of an international
    farm comparison): milk x (0.383 fat + 0.242 protein + 0.7832) / 3.1138."""
    parts = 0.383 * float(fat) + 0.242 * float(protein) + 0.7832
    return float(milk) * parts / 3.1138


def ecm_us_720(milk: Number, fat: Number, protein: Number) -> float:
    """Energy-corrected milk, United States, true protein: 0.327 milk + 12.95 fat + 7.2 protein."""
    return 0.327 * float(milk) + 12.95 * mass(milk, fat) + 7.2 * mass(milk, protein)


def ecm_us_765(milk: Number, fat: Number, protein: Number) -> float:
    """Energy-corrected milk, United States, the other edition: with 7.65 for protein."""
    return 0.327 * float(milk) + 12.95 * mass(milk, fat) + 7.65 * mass(milk, protein)


def ecm_icar(milk: Number, fat: Number, protein: Number) -> float:
    """Energy-corrected milk, 0.25 milk + 12.2 fat + 7.7 protein (ICAR, from memory)."""
    return 0.25 * float(milk) + 12.2 * mass(milk, fat) + 7.7 * mass(milk, protein)


def fcm_of(milk: Number, fat: Number, protein: Number) -> float:
    """Fat-corrected milk beside the others: the protein does not count."""
    return fcm_4(milk, fat)


# Name for people by formula; a figure is never shown without it.
CORRECTED: dict[str, Callable[[Number, Number, Number], float]] = {
    "FCM 4 %": fcm_of,
    "ECM 4.0/3.3": ecm_40_33,
    "ECM US 7.2": ecm_us_720,
    "ECM US 7.65": ecm_us_765,
    "ECM ICAR (from memory)": ecm_icar,
}


def mass(milk: Number, percent: Number) -> float:
    """Fat or protein in the unit of the milk."""
    return float(milk) * float(percent) / 100


@dataclass(frozen=True, kw_only=True)
class MilkDay:
    """A cow's milk of one day, kg, with fat and protein in per cent where they were measured."""

    on: date
    kg: float
    fat: float | None = None
    protein: float | None = None


@dataclass(frozen=True, kw_only=True)
class Interval:
    """Days between two tests (or calving, or the end) and what was milked in them, kg."""

    since: date
    until: date
    milk: float

    @property
    def days(self) -> int:
        return (self.until - self.since).days


@dataclass(frozen=True, kw_only=True)
class Yield:
    """A lactation's yield: days counted, kg of milk, fat and protein, and the tests behind it.

    ``fat`` and ``protein`` are None when no test measured them; where only some did, those alone
    are used. ``to_day``: the last day of the lactation that is counted.
    """

    days: int
    tests: int
    milk: float
    fat: float | None
    protein: float | None
    intervals: tuple[Interval, ...]
    to_day: date

    @property
    def fat_percent(self) -> float | None:
        return None if self.fat is None or not self.milk else 100 * self.fat / self.milk

    @property
    def protein_percent(self) -> float | None:
        return None if self.protein is None or not self.milk else 100 * self.protein / self.milk


def lactation_yield(
    calved: date, tests: Iterable[MilkDay], until: date, *, last_day: int = 305
) -> Yield:
    """Yield from calving until a day, at most ``last_day`` days, by the test interval method.

    The days from calving to the first test are counted at its yield, those after the last test at
    the last, and each interval between two tests half at the one and half at the other. Fat and
    protein go by their grams, never by the mean of per cents. An interval that runs over the last
    day is cut there. Source: ICAR Guidelines Section 2, Procedure 2 (test interval method, Sargent
    1968); interval halves as described there.

    Raises ValueError for a test before calving, two of one day, or none at all.
    """
    end = min(until, calved + timedelta(days=last_day))
    days = sorted(tests, key=lambda test: test.on)
    for test, following in zip(days, days[1:], strict=False):
        if test.on == following.on:
            raise ValueError(SAME_DAY.format(on=test.on))
    if days and days[0].on < calved:
        raise ValueError(TOO_EARLY.format(on=days[0].on, calved=calved))
    used = [test for test in days if test.on <= end] or days[:1]
    if not used or end <= calved:
        raise ValueError(NO_TEST.format(calved=calved, until=end))
    # The first test after the end still says how the last interval went on.
    after = [test for test in days if test.on > end and test not in used][:1]
    points = [*used, *after]
    intervals = intervals_of(calved, end, [(test.on, test.kg) for test in points])
    return Yield(
        days=(end - calved).days,
        tests=len(used),
        milk=sum(each.milk for each in intervals),
        fat=content(calved, end, [(test.on, test.kg, test.fat) for test in points]),
        protein=content(calved, end, [(test.on, test.kg, test.protein) for test in points]),
        intervals=intervals,
        to_day=end,
    )


def content(
    calved: date, end: date, tests: Sequence[tuple[date, float, float | None]]
) -> float | None:
    """kg of fat or protein, by the grams of the tests that measured it; None when none did."""
    grams = [(on, mass(kg, percent)) for on, kg, percent in tests if percent is not None]
    return sum(each.milk for each in intervals_of(calved, end, grams)) if grams else None


def intervals_of(
    calved: date, end: date, tests: Sequence[tuple[date, float]]
) -> tuple[Interval, ...]:
    """The intervals of a lactation; ``tests``: day and kg a day, in order, at least one."""
    first, last = tests[0], tests[-1]
    found = [at_one_yield(calved, min(first[0], end), first[1])]
    for (since, before), (until, later) in zip(tests, tests[1:], strict=False):
        if since < end:
            found.append(between(since, until, before, later, end))
    if last[0] < end:
        found.append(at_one_yield(last[0], end, last[1]))
    return tuple(each for each in found if each.days)


def at_one_yield(since: date, until: date, kg: float) -> Interval:
    """Days that are all counted at one test's yield."""
    return Interval(since=since, until=until, milk=kg * (until - since).days)


def between(since: date, until: date, before: float, later: float, end: date) -> Interval:
    """The days after one test through the next, half at each yield, cut at ``end``."""
    half = (until - since).days / 2
    counted = (min(until, end) - since).days
    at_first = min(counted, half)
    milk = before * at_first + later * (counted - at_first)
    return Interval(since=since, until=min(until, end), milk=milk)
