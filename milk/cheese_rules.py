"""Sampling plans of cheese, and what follows from a result: pure, no clock, no database.

A plan is n, c, m, M of the food-hygiene criteria (Reg. (EC) 2073/2005): of ``units`` samples at
most ``between`` may lie above ``low`` and none above ``high``. Its figures are dated rows.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from config.saying import N_, _
from milk.limits import plain

# What feed limits are stated for (text on Directive 2002/32/EC): 12 % moisture.
FEED_MOISTURE = Decimal(12)

ALL_WATER = N_("Moisture must leave something over: below 100 %.")


class Outcome(StrEnum):
    """What a set of samples says of its batch."""

    SATISFACTORY = "satisfactory"
    ACCEPTABLE = "acceptable"
    UNSATISFACTORY = "unsatisfactory"
    NOT_VALID = N_("not valid")


@dataclass(frozen=True, kw_only=True)
class Plan:
    """n, c, m and M; with ``high`` None no result may lie above ``low`` in more than c units."""

    units: int
    between: int
    low: Decimal
    high: Decimal | None = None


@dataclass(frozen=True)
class Judgement:
    """The outcome, and the sentence that says why."""

    outcome: Outcome
    words: str

    @property
    def fails(self) -> bool:
        return self.outcome is Outcome.UNSATISFACTORY


ABOVE_HIGH = N_("{number} of {units} units above {high}")
TOO_MANY = N_("{number} of {units} units above {low}, at most {between} may be")
SOME = N_("{number} of {units} units above {low}, none above {high}")
NONE_ABOVE = N_("no unit of {units} above {low}")
TOO_FEW = N_("only {number} of {units} units were examined")
DETECTED = N_("detected in {number} of {units} units")
NOT_DETECTED = N_("not detected in any of {units} units")


def judge_counts(counts: Sequence[Decimal], plan: Plan) -> Judgement:
    """Counts of a batch held against a plan of two or three classes.

    One unit too high condemns the batch however few were examined; with too few units a good
    result says nothing.
    """
    number, low = len(counts), plain(plan.low)
    above = sum(count > plan.low for count in counts)
    if plan.high is not None and (worst := sum(count > plan.high for count in counts)):
        words = _(ABOVE_HIGH).format(number=worst, units=number, high=plain(plan.high))
        return Judgement(Outcome.UNSATISFACTORY, words)
    if above > plan.between:
        words = _(TOO_MANY).format(number=above, units=number, low=low, between=plan.between)
        return Judgement(Outcome.UNSATISFACTORY, words)
    if number < plan.units:
        return Judgement(Outcome.NOT_VALID, _(TOO_FEW).format(number=number, units=plan.units))
    if above:
        high = plain(plan.high) if plan.high is not None else low
        words = _(SOME).format(number=above, units=number, low=low, high=high)
        return Judgement(Outcome.ACCEPTABLE, words)
    return Judgement(Outcome.SATISFACTORY, _(NONE_ABOVE).format(units=number, low=low))


def judge_detection(units: int, detected: int, plan: Plan) -> Judgement:
    """“Not detected in 25 g”: ``detected`` of the ``units`` examined had it."""
    if detected > plan.between:
        words = _(DETECTED).format(number=detected, units=units)
        return Judgement(Outcome.UNSATISFACTORY, words)
    if units < plan.units:
        return Judgement(Outcome.NOT_VALID, _(TOO_FEW).format(number=units, units=plan.units))
    return Judgement(Outcome.SATISFACTORY, _(NOT_DETECTED).format(units=units))


def needs_toxin_test(counts: Sequence[Decimal], high: Decimal) -> bool:
    """Whether staphylococci are so many that the batch is tested for their toxins."""
    return any(count > high for count in counts)


@dataclass(frozen=True, kw_only=True)
class NoGrowth:
    """When listeria cannot grow: pH alone, water activity alone, or both together, at most."""

    ph: Decimal
    aw: Decimal
    both_ph: Decimal
    both_aw: Decimal


def can_grow(ph: Decimal | None, aw: Decimal | None, rule: NoGrowth) -> bool:
    """Whether listeria can grow in a cheese; what was not measured counts as if it could."""
    if ph is not None and ph <= rule.ph:
        return False
    if aw is not None and aw <= rule.aw:
        return False
    return ph is None or aw is None or ph > rule.both_ph or aw > rule.both_aw


def at_feed_moisture(value: Decimal, moisture: Decimal) -> Decimal:
    """A content of feed at 12 % moisture, from one measured at ``moisture`` %.

    Raises ValueError when there is nothing but water.
    """
    if moisture >= 100:
        raise ValueError(_(ALL_WATER))
    return value * (100 - FEED_MOISTURE) / (100 - moisture)


def limit_in_cheese(in_milk: Decimal, factor: Decimal) -> Decimal:
    """What a limit of milk is in a cheese that concentrates it ``factor`` times."""
    return in_milk * factor
