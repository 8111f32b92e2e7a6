"""The dated rules breeding is judged by, the breeds, and other settings of the herd's own pages."""

from collections import defaultdict
from datetime import date, datetime
from decimal import Decimal

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.errors import Conflict
from herd.before_calving import AT_LEAST_AFTER
from herd.breeding import RULE_NAMES, Breed, Rules
from herd.models import BreedRule
from herd.period_rules import standing_rules

# The estate's own rows; another scheme's stand beside them and say nothing here.
SCHEME = "estate"
NUMBER_RESTS = "farm number: rests"  # years
WALL_OLD = "wall: too old after"  # min
PHONE_LIST_OLD = "list on a phone: too old after"  # min
CALF_TAG = "calf: tagged within"  # d
OTHER_RULES = (NUMBER_RESTS, WALL_OLD, PHONE_LIST_OLD, CALF_TAG, AT_LEAST_AFTER)
KNOWN_RULES = (*RULE_NAMES.values(), *OTHER_RULES)

RULES_MISSING = N_(
    "Breeding cannot be judged on {day}: no value is in force for {names}. Enter them under period "
    "rules, with the scheme “estate”."
)


def values_on(day: date) -> dict[str, Decimal]:
    """The newest value of each of these rules on a day; a rule without one is left out."""
    return {
        row.name: row.value
        for row in standing_rules()
        if row.scheme == SCHEME and row.name in KNOWN_RULES and row.valid_from <= day
    }


def rule_value(name: str, at: datetime) -> Decimal | None:
    """One rule's value at a moment; None when there is none."""
    return values_on(timezone.localdate(at)).get(name)


def breeding_rules(day: date) -> Rules:
    """The rules in force on a day. Raises Conflict naming those that have no value then."""
    return rules_of(values_on(day), day)


def rules_of(values: dict[str, Decimal], day: date) -> Rules:
    """The rules among some values. Raises Conflict."""
    missing = [name for name in RULE_NAMES.values() if name not in values]
    if missing:
        raise Conflict(_(RULES_MISSING).format(day=day, names="; ".join(missing)))
    return Rules(**{field: int(values[name]) for field, name in RULE_NAMES.items()})


def breeds() -> dict[str, tuple[Breed, ...]]:
    """The rows of every breed, by its code."""
    found: dict[str, list[Breed]] = defaultdict(list)
    rows = BreedRule.objects.standing().order_by("valid_from")
    for code, days, less, valid_from in rows.values_list(
        "breed", "gestation_days", "heifer_less", "valid_from"
    ):
        found[code.upper()].append(Breed(days, less, valid_from))
    return {code: tuple(rows) for code, rows in found.items()}
