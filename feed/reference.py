"""The dated rules an estate starts with, with their sources: fixtures/feed_rules.json."""

import json
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Any

from django.conf import settings
from django.db import transaction

from config import entries
from config.entries import Entry, Stamp
from feed.models import FeedFigure, FeedRule, FeedShareRule, WaitRule, WindowRule
from feed.services.figures import record_figure
from feed.services.rules import record_window_rule

RULES = "feed_rules.json"
NUMBERS = (
    "from_temperature",
    "hours",
    "wet_factor",
    "first_share",
    "extension_share",
    "heap_over_air",
    "heap_top",
    "at_least",
    "at_most",
    "value",
    "water_above",
    "aflatoxin_above",
)

# By list of the file: its table, what makes two rows the same, and the service that writes one.
KINDS: dict[str, tuple[type[Entry], tuple[str, ...], Callable[..., Entry]]] = {
    "window_rules": (WindowRule, ("from_temperature", "valid_from"), record_window_rule),
    "feed_share_rules": (
        FeedShareRule,
        ("name", "scheme", "valid_from"),
        partial(entries.record, FeedShareRule),
    ),
    "wait_rules": (WaitRule, ("what", "valid_from"), partial(entries.record, WaitRule)),
    "feed_figures": (FeedFigure, ("name", "valid_from"), record_figure),
    "feed_rules": (FeedRule, ("name", "scheme", "valid_from"), partial(entries.record, FeedRule)),
}


@transaction.atomic
def load_reference(stamp: Stamp) -> list[Entry]:
    """Enter the rules that are not there yet; the new ones. A second time it changes nothing."""
    new: list[Entry] = []
    for kind, rows in rules().items():
        model, same, record = KINDS[kind]
        there = set(model.objects.standing().values_list(*same))
        new += [
            record(stamp=stamp.again(), **row)
            for row in rows
            if tuple(row[name] for name in same) not in there
        ]
    return new


def rules() -> dict[str, list[dict[str, Any]]]:
    """The rows of the data file by kind, as field values of the models."""
    text = (settings.BASE_DIR / "fixtures" / RULES).read_text(encoding="utf-8")
    return {
        kind: [{name: value_of(name, value) for name, value in row.items()} for row in rows]
        for kind, rows in json.loads(text).items()
    }


def value_of(name: str, value: Any) -> Any:
    """One value of a row: numbers exact, days as dates."""
    if name in NUMBERS:
        return None if value is None else Decimal(value)
    return date.fromisoformat(value) if name == "valid_from" and value else value
