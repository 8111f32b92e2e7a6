"""The dated rules an estate starts with, with their sources: fixtures/feed_rules.json."""

import json
from datetime import date
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import transaction

from config import entries
from config.entries import Stamp
from feed.models import FeedShareRule, WindowRule
from feed.services.rules import record_window_rule

RULES = "feed_rules.json"


@transaction.atomic
def load_reference(stamp: Stamp) -> list[WindowRule | FeedShareRule]:
    """Enter the rules that are not there yet; the new ones. A second time it changes nothing."""
    data = rules()
    bands = set(WindowRule.objects.standing().values_list("from_temperature", "valid_from"))
    shares = set(FeedShareRule.objects.standing().values_list("name", "scheme", "valid_from"))
    new: list[WindowRule | FeedShareRule] = [
        record_window_rule(stamp=stamp.again(), **row)
        for row in data["window_rules"]
        if (row["from_temperature"], row["valid_from"]) not in bands
    ]
    new += [
        entries.record(FeedShareRule, stamp=stamp.again(), **row)
        for row in data["feed_share_rules"]
        if (row["name"], row["scheme"], row["valid_from"]) not in shares
    ]
    return new


def rules() -> dict[str, list[dict[str, Any]]]:
    """The rows of the data file by kind, as field values of the models."""
    text = (settings.BASE_DIR / "fixtures" / RULES).read_text(encoding="utf-8")
    return {
        kind: [{name: value_of(name, value) for name, value in row.items()} for row in rows]
        for kind, rows in json.loads(text).items()
    }


def value_of(name: str, value: str | None) -> Any:
    """One value of a row: numbers exact, days as dates."""
    if name in ("from_temperature", "hours", "at_least", "at_most"):
        return None if value is None else Decimal(value)
    return date.fromisoformat(value) if name == "valid_from" and value else value
