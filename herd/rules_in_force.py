"""Dated rules that stand beside those of the withdrawal arithmetic, and their value on a day."""

from datetime import datetime
from decimal import Decimal

from herd.services.withdrawals import dated_rules, estate_zone
from herd.withdrawal import Estate

PRESCRIPTION_DAYS = "prescription: valid"  # d
MILK_PRICE = "price: milk"  # EUR a kg
WHEEL_PRICE = "price: wheel"  # EUR a wheel
DOSE_RUNG_BEFORE = "dose: rung before"  # h
DOSE_LATE_AFTER = "dose: late after"  # h
BAND_OFF_BEFORE = "band: off before the milking"  # min
OTHER_RULES = (
    PRESCRIPTION_DAYS,
    MILK_PRICE,
    WHEEL_PRICE,
    DOSE_RUNG_BEFORE,
    DOSE_LATE_AFTER,
    BAND_OFF_BEFORE,
)


def rule_in_force(name: str, at: datetime) -> Decimal | None:
    """A rule's value at a moment, of several schemes the strictest; None: no rule has one."""
    return Estate(estate_zone(), dated_rules()).rule(name, at)
