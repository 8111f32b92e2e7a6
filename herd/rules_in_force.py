"""Dated rules that stand beside those of the withdrawal arithmetic, and their value on a day."""

from collections.abc import Iterable
from datetime import date, datetime
from decimal import Decimal

from config.days import estate_zone
from herd.period_rules import StandingRule, standing_rules
from herd.services.withdrawals import dated_rules
from herd.withdrawal import Estate

PRESCRIPTION_DAYS = "prescription: valid"  # d
MILK_PRICE = "price: milk"  # EUR/kg
WHEEL_PRICE = "price: wheel"  # EUR/wheel
SECOND_PRICE = "price: wheel second"  # EUR/wheel
DOWNGRADED_PRICE = "price: wheel downgraded"  # EUR/wheel
DOSE_RUNG_BEFORE = "dose: rung before"  # h
DOSE_LATE_AFTER = "dose: late after"  # h
BAND_OFF_BEFORE = "band: off before the milking"  # min
MILK_LEAST = "milk of a day: at least"  # kg
OTHER_RULES = (
    PRESCRIPTION_DAYS,
    MILK_PRICE,
    WHEEL_PRICE,
    SECOND_PRICE,
    DOWNGRADED_PRICE,
    DOSE_RUNG_BEFORE,
    DOSE_LATE_AFTER,
    BAND_OFF_BEFORE,
    MILK_LEAST,
)


def rule_in_force(name: str, at: datetime) -> Decimal | None:
    """A rule's value at a moment, of several schemes the strictest; None: no rule has one."""
    return Estate(estate_zone(), dated_rules()).rule(name, at)


def rows_in_force(names: Iterable[str], day: date) -> dict[str, StandingRule]:
    """By name the row in force on a day, with its unit; of several schemes the strictest."""
    wanted = set(names)
    newest = {
        (row.name, row.scheme): row
        for row in standing_rules()
        if row.name in wanted and row.valid_from <= day
    }
    return {row.name: row for row in sorted(newest.values(), key=lambda row: row.value)}
