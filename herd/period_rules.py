"""The dated rules of the book (withdrawal, breeding, udder, prices), read once for a page."""

from datetime import date
from decimal import Decimal
from typing import NamedTuple

from config.asking import ask
from config.once_a_page import once_a_page

STANDING = """
    SELECT id, name, value, unit, scheme, valid_from
    FROM herd_periodrule WHERE struck_at IS NULL ORDER BY valid_from, id
"""


class StandingRule(NamedTuple):
    """What counts of a row of ``PeriodRule``; ``id``: its key."""

    id: int
    name: str
    value: Decimal
    unit: str
    scheme: str
    valid_from: date


@once_a_page
def standing_rules() -> tuple[StandingRule, ...]:
    """Every standing row, the oldest first; some dozens in one statement, asked at every entry."""
    return tuple(StandingRule(*row) for row in ask(STANDING, {}))
