"""The dated rules and breeds every estate starts with, with their sources (fixtures/)."""

import json
from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import transaction

from config import entries
from config.entries import EntryT, Stamp
from herd.models import BreedRule, PeriodRule, UnfitSign
from herd.services import touched, withdrawals

RULES = ("herd_rules.json", "breeding_rules.json", "medicine_rules.json")
BREEDS = "breeds.json"
SIGNS = "unfit_signs.json"


@transaction.atomic
def load_reference(stamp: Stamp) -> list[PeriodRule]:
    """Enter the rules that are not there yet, and compute what hangs on them; the new ones."""
    new = entered(stamp, PeriodRule, rules(), ("name", "scheme", "valid_from"))
    new_signs = load_signs(stamp)
    days = [rule.valid_from for rule in new] + [sign.valid_from for sign in new_signs]
    if days:
        earliest = min(days)
        withdrawals.follow(touched.under_rules_since(earliest))
    load_breeds(stamp)
    return new


def load_breeds(stamp: Stamp) -> list[BreedRule]:
    """Enter the breeds that are not there yet; the new ones."""
    return entered(stamp, BreedRule, breeds(), ("breed", "valid_from"))


def load_signs(stamp: Stamp) -> list[UnfitSign]:
    """Enter the signs that keep milk out and are not there yet; the new ones."""
    return entered(stamp, UnfitSign, rows_of(SIGNS), ("case", "scheme", "valid_from"))


def entered(
    stamp: Stamp, model: type[EntryT], rows: Iterable[dict[str, Any]], key: Sequence[str]
) -> list[EntryT]:
    """Enter the rows that no standing row has; ``key``: what tells them apart. The new ones."""
    there = set(model.objects.standing().values_list(*key))
    missing = [row for row in rows if tuple(row[name] for name in key) not in there]
    return entries.record_all(model, [(stamp.again(), row) for row in missing])


def rules() -> list[dict[str, Any]]:
    """The rows of the data files, as field values of PeriodRule."""
    return [{**row, "value": Decimal(row["value"])} for name in RULES for row in rows_of(name)]


def breeds() -> list[dict[str, Any]]:
    """The rows of the data file, as field values of BreedRule."""
    return rows_of(BREEDS)


def rows_of(name: str) -> list[dict[str, Any]]:
    """The rows of a data file, their days read."""
    text = (settings.BASE_DIR / "fixtures" / name).read_text(encoding="utf-8")
    return [
        {**row, "valid_from": date.fromisoformat(row["valid_from"])} for row in json.loads(text)
    ]
