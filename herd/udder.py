"""Udder health from counts and signs: scores, movement between recordings, rates, shares.

Pure: no Django, no clock; days are arguments. Cell counts are in thousands per ml, milk in kg,
contents in per cent. What was counted or weighed is compared as Decimal, as it was written: 200.0
is at the limit and not a hair below. Scores are logarithms and are floats. Limits come in as
``Rules``, from the dated rows of the book.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from operator import attrgetter
from typing import NamedTuple

from config.saying import N_

DAYS_OF_100_COW_YEARS = 36_500
# What a CMT grade roughly means, thousand cells per ml (from memory; the ranges overlap).
CMT_MEANS = (
    ("0", N_("below 200")),
    (N_("trace"), N_("150 to 500")),
    ("1", N_("400 to 1,500")),
    ("2", N_("800 to 5,000")),
    ("3", N_("above 5,000")),
)
CMT_CAUTION = N_(
    "No cow is treated on a CMT alone: the test shows cells, not germs. Take a sample of the "
    "quarter; the vet decides."
)


@dataclass(frozen=True, kw_only=True)
class Rules:
    """The limits of udder health on a day; ``RULE_NAMES`` says which row is which."""

    high: Decimal
    gap: Decimal
    first_test: Decimal
    one_recording: Decimal
    too_old: Decimal
    may_differ: Decimal
    target: Decimal
    new_good: Decimal
    new_contagious: Decimal
    share_good: Decimal
    cure_good: Decimal
    recurs_after: Decimal
    clinical_act: Decimal
    dry_origin_days: Decimal
    dry_origin_act: Decimal
    milk_origin_act: Decimal
    plates_days: Decimal
    dirty_act: Decimal
    fresh_from: Decimal
    fresh_until: Decimal
    ratio_test: Decimal
    ratio_ketosis: Decimal
    ratio_act: Decimal
    ratio_times: Decimal
    ratio_rumen: Decimal
    ratio_rumen_act: Decimal
    ketones_blood: Decimal
    ketones_milk: Decimal
    ketones_act: Decimal
    last_day: Decimal
    score_low: Decimal
    score_suspect: Decimal
    score_subclinical: Decimal
    score_near_clinical: Decimal
    score_aim: Decimal
    score_share: Decimal


# Name of the dated row, by field of Rules.
RULE_NAMES = {
    "high": "cells: high from",
    "gap": "cells: longest gap between tests",
    "first_test": "cells: first test after calving",
    "one_recording": "cells: tests of one recording within",
    "too_old": "cells: list too old after",
    "may_differ": "cells: tank may differ by",
    "target": "cells: target of a tank",
    "new_good": "cells: new rate good up to",
    "new_contagious": "cells: new rate contagious above",
    "share_good": "cells: share high good below",
    "cure_good": "cells: dry-period cure good from",
    "recurs_after": "mastitis: new case after",
    "clinical_act": "mastitis: rate, act above",
    "dry_origin_days": "mastitis: dry-period origin within",
    "dry_origin_act": "mastitis: dry-period origin, act above",
    "milk_origin_act": "mastitis: lactation origin, act above",
    "plates_days": "bacteriology: looked back",
    "dirty_act": "bacteriology: dirty, act above",
    "fresh_from": "fat to protein: cows from day",
    "fresh_until": "fat to protein: cows until day",
    "ratio_test": "fat to protein: test the cow above",
    "ratio_ketosis": "fat to protein: ketosis side above",
    "ratio_act": "fat to protein: act above share",
    "ratio_times": "fat to protein: act at times last month",
    "ratio_rumen": "fat to protein: rumen side below",
    "ratio_rumen_act": "fat to protein: rumen side, act above",
    "ketones_blood": "ketones in blood: ketosis from",
    "ketones_milk": "ketones in milk: ketosis from",
    "ketones_act": "ketones: act on the group above",
    "last_day": "yield: last day of a lactation",
    "score_low": "score: low from",
    "score_suspect": "score: suspect from",
    "score_subclinical": "score: subclinical from",
    "score_near_clinical": "score: near clinical from",
    "score_aim": "score: aim at most",
    "score_share": "score: cows at the aim, good above",
}


@dataclass(frozen=True)
class Share:
    """So many of so many."""

    part: int
    whole: int

    @property
    def percent(self) -> Decimal | None:
        """Per cent; None of nothing."""
        return Decimal(100 * self.part) / self.whole if self.whole else None

    def above(self, percent: Decimal) -> bool:
        """Whether it is more than so many per cent; never of nothing."""
        return self.percent is not None and self.percent > percent


class Sampled(NamedTuple):
    """What was found in one cow's milk on a day, or at a milking of it. None: not measured.

    ``session``: "M" or "E" for one milking, "" for the whole day. A tuple: a board makes more than
    ten thousand of them.
    """

    on: date
    cells: Decimal | None = None
    kg: Decimal | None = None
    fat: Decimal | None = None
    protein: Decimal | None = None
    lactation: int | None = None
    session: str = ""


def one_day(tests: Sequence[Sampled]) -> Sampled:
    """The tests of one cow and day as one: of the whole day where there is one, else both milkings.

    kg are added up and the rest is weighed by them; what one milking lacks is not known for the
    day. Of a single milking the contents count, but half a day's kg are no day's.
    """
    for test in tests:
        if not test.session:
            return test
    if len({test.session for test in tests}) == 1:
        return tests[0]._replace(kg=None, session="")
    kgs = [test.kg for test in tests]
    known = [kg for kg in kgs if kg is not None]
    whole = sum(known, Decimal(0)) if len(known) == len(kgs) else None

    def mean(values: list[Decimal | None]) -> Decimal | None:
        found = [value for value in values if value is not None]
        if len(found) < len(values):
            return None
        if not whole:
            return sum(found, Decimal(0)) / len(found)
        return sum((value * kg for value, kg in zip(found, known, strict=True)), Decimal(0)) / whole

    return Sampled(
        on=tests[0].on,
        cells=mean([test.cells for test in tests]),
        kg=whole,
        fat=mean([test.fat for test in tests]),
        protein=mean([test.protein for test in tests]),
        lactation=tests[0].lactation,
    )


class Movement(StrEnum):
    """Where a cow's count went between two recordings."""

    NEW = N_("new")
    CHRONIC = N_("chronic")
    CURED = N_("cured")
    LOW = "low"


class Line(StrEnum):
    """What lies between the two tests, which are never counted together."""

    IN_MILK = N_("in milk")
    DRY_PERIOD = N_("over the dry period")
    HEIFER = "heifer"
    ALONE = N_("no earlier test")


@dataclass(frozen=True, kw_only=True)
class Move:
    """One cow's step between her last two valid tests.

    ``before`` and ``movement`` are None when there is no earlier test. ``marked``: the gap is
    longer than the rule, the last valid test was used all the same.
    """

    now: Sampled
    line: Line
    is_high: bool
    before: Sampled | None = None
    movement: Movement | None = None
    days: int | None = None
    marked: bool = False


def days_in_milk(on: date, calvings: Iterable[date]) -> int | None:
    """Days since the last calving at or before a day; None when none is known."""
    calved = max([day for day in calvings if day <= on], default=None)
    return None if calved is None else (on - calved).days


def movement(before: Decimal, now: Decimal, high: Decimal) -> Movement:
    """low to high new, high to high chronic, high to low cured; at the limit is high."""
    if now >= high:
        return Movement.CHRONIC if before >= high else Movement.NEW
    return Movement.CURED if before >= high else Movement.LOW


def valid_tests(
    tests: Iterable[Sampled], calvings: Sequence[date], rules: Rules
) -> list[tuple[Sampled, Decimal]]:
    """Tests with a count, oldest first, without those of the first days after a calving."""
    found = []
    for test in sorted(tests, key=attrgetter("on")):
        if test.cells is not None:
            days = days_in_milk(test.on, calvings)
            if days is None or days >= rules.first_test:
                found.append((test, test.cells))
    return found


def move_of(
    tests: Iterable[Sampled], calvings: Sequence[date], recording: date, rules: Rules
) -> Move | None:
    """One cow's movement at the recording that ended on a day.

    None when she has no valid test of that recording, so also when she calved too shortly before.
    """
    valid = valid_tests([test for test in tests if test.on <= recording], calvings, rules)
    if not valid or (recording - valid[-1][0].on).days >= rules.one_recording:
        return None
    now, count = valid[-1]
    is_high = count >= rules.high
    # Tests of the same recording (a sample taken again) are one step, not two.
    earlier = [pair for pair in valid if (recording - pair[0].on).days >= rules.one_recording]
    if not earlier:
        line = Line.HEIFER if now.lactation == 1 else Line.ALONE
        return Move(now=now, line=line, is_high=is_high)
    before, count_before = earlier[-1]
    line = Line.DRY_PERIOD if calved_between(before, now, calvings) else Line.IN_MILK
    days = (now.on - before.on).days
    return Move(
        now=now,
        line=line,
        is_high=is_high,
        before=before,
        movement=movement(count_before, count, rules.high),
        days=days,
        marked=line is Line.IN_MILK and days > rules.gap,
    )


def calved_between(before: Sampled, now: Sampled, calvings: Iterable[date]) -> bool:
    """Whether another lactation began between two tests, by the book or by the laboratory."""
    if any(before.on < day <= now.on for day in calvings):
        return True
    numbers = (before.lactation, now.lactation)
    return None not in numbers and numbers[0] != numbers[1]


@dataclass(frozen=True, kw_only=True)
class Moved:
    """A herd's movement: counts in milk, the rates, and the lines that stand beside."""

    counts: dict[Movement, int]
    high: Share
    new: Share
    marked: int
    dry_cured: Share
    dry_new: Share
    heifers_high: Share
    alone_high: Share


def moved(moves: Sequence[Move]) -> Moved:
    """The sums of many cows' moves.

    ``new``: newly high among those low last time with both tests, in milk. ``dry_cured``: low now
    among those high at the last test before they were dry; ``dry_new`` the other way round.
    """
    counts = dict.fromkeys(Movement, 0)
    dry = dict.fromkeys(Movement, 0)
    for move in moves:
        if move.movement is not None:
            (counts if move.line is Line.IN_MILK else dry)[move.movement] += 1

    def high_of(line: Line) -> Share:
        of = [move for move in moves if move.line is line]
        return Share(sum(move.is_high for move in of), len(of))

    return Moved(
        counts=counts,
        high=Share(sum(move.is_high for move in moves), len(moves)),
        new=Share(counts[Movement.NEW], counts[Movement.NEW] + counts[Movement.LOW]),
        marked=sum(move.marked for move in moves),
        dry_cured=Share(dry[Movement.CURED], dry[Movement.CURED] + dry[Movement.CHRONIC]),
        dry_new=Share(dry[Movement.NEW], dry[Movement.NEW] + dry[Movement.LOW]),
        heifers_high=high_of(Line.HEIFER),
        alone_high=high_of(Line.ALONE),
    )


@dataclass(frozen=True, kw_only=True)
class Sign:
    """Mastitis seen in a cow's quarter on a day, and when it cleared (None: nobody wrote it)."""

    cow: int
    quarter: str
    seen: date
    cleared: date | None = None
    calved: date | None = None


@dataclass(frozen=True, kw_only=True)
class Case:
    """One case of mastitis of one quarter: from the first sign to the last, or its clearing."""

    cow: int
    quarter: str
    began: date
    ended: date
    calved: date | None = None

    def is_of_dry_period(self, within: Decimal) -> bool | None:
        """Whether it began within so many days of calving; None when no calving is known."""
        return None if self.calved is None else (self.began - self.calved).days <= within


def cases(signs: Iterable[Sign], recurs_after: Decimal) -> list[Case]:
    """Signs as cases: the same quarter is a new case so many days after it cleared, or later.

    Where nobody wrote that it cleared, its last sign counts. A sign without a quarter is a quarter
    of its own, "".
    """
    open_cases: dict[tuple[int, str], Case] = {}
    found: list[Case] = []
    for sign in sorted(signs, key=lambda sign: (sign.seen, sign.cow, sign.quarter)):
        key = (sign.cow, sign.quarter)
        last = max(sign.seen, sign.cleared or sign.seen)
        held = open_cases.get(key)
        if held is not None and (sign.seen - held.ended).days < recurs_after:
            ended = max(held.ended, last)
            case = Case(
                cow=held.cow,
                quarter=held.quarter,
                began=held.began,
                ended=ended,
                calved=held.calved,
            )
            found[found.index(held)] = case
        else:
            case = Case(
                cow=sign.cow,
                quarter=sign.quarter,
                began=sign.seen,
                ended=last,
                calved=sign.calved,
            )
            found.append(case)
        open_cases[key] = case
    return found


def quarters_of(text: str) -> list[str]:
    """The quarters a sign names ("LF, RH"); [""] when it names none."""
    words = "".join(letter if letter.isalnum() else " " for letter in text.upper()).split()
    return sorted(set(words)) or [""]


def clinical_rate(number: int, cow_days: Decimal) -> Decimal | None:
    """Cases per 100 cow-years; None without cow-days. 152, 1,690 cows, 91 days: 36.1."""
    return Decimal(number * DAYS_OF_100_COW_YEARS) / cow_days if cow_days else None


def in_twelve(number: int, cows: Decimal | int) -> Decimal | None:
    """So many in 12 cows (dry-period origin: calved; lactation origin: cow-years); None of none."""
    return Decimal(12 * number) / cows if cows else None
