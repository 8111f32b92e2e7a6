"""The dated rules that udder health is judged by, read from the book."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.errors import Conflict
from herd.period_rules import standing_rules
from herd.udder import RULE_NAMES, Rules

# The rows that count are the estate's own; other habits stand beside them and say nothing.
SCHEME = "estate"
RULES_MISSING = N_(
    "Udder health cannot be judged on {day}: no value is in force for {names}. Enter them under "
    "period rules, with the scheme “estate”."
)

# Name, value, valid from.
Row = tuple[str, Decimal, date]


def udder_rules(day: date) -> Rules:
    """The rules in force on a day. Raises Conflict naming those that have no value then."""
    rows = [row for row in standing_rules() if row.scheme == SCHEME]
    return rules_of([(row.name, row.value, row.valid_from) for row in rows], day)


def rules_of(rows: Iterable[Row], day: date) -> Rules:
    """The newest value of every rule at a day, of rows of the estate's own scheme."""
    values: dict[str, Decimal] = {}
    for name, value, valid_from in sorted(rows, key=lambda row: row[2]):
        if valid_from <= day:
            values[name] = value
    missing = [name for name in RULE_NAMES.values() if name not in values]
    if missing:
        raise Conflict(_(RULES_MISSING).format(day=day, names="; ".join(missing)))
    return Rules(**{field: values[name] for field, name in RULE_NAMES.items()})
