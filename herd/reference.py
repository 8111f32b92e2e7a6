"""The dated rules every estate starts with, with their sources: fixtures/herd_rules.json."""

import json
from datetime import date
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import transaction

from config import entries
from config.entries import Stamp
from herd.models import PeriodRule
from herd.services import withdrawals

RULES = "herd_rules.json"


@transaction.atomic
def load_reference(stamp: Stamp) -> list[PeriodRule]:
    """Enter the rules that are not there yet, and compute what hangs on them; the new ones."""
    there = set(PeriodRule.objects.standing().values_list("name", "scheme", "valid_from"))
    new = [
        entries.record(PeriodRule, stamp=stamp.again(), **rule)
        for rule in rules()
        if (rule["name"], rule["scheme"], rule["valid_from"]) not in there
    ]
    if new:
        earliest = min(rule.valid_from for rule in new)
        withdrawals.follow(withdrawals.under_rules_since(earliest))
    return new


def rules() -> list[dict[str, Any]]:
    """The rows of the data file, as field values of PeriodRule."""
    text = (settings.BASE_DIR / "fixtures" / RULES).read_text(encoding="utf-8")
    return [
        {
            **row,
            "value": Decimal(row["value"]),
            "valid_from": date.fromisoformat(row["valid_from"]),
        }
        for row in json.loads(text)
    ]
