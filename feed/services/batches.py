"""Loads of fresh-cut forage: cut, corrected, struck."""

from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction

from config import entries
from config.entries import Stamp
from feed.models import Field, ForageBatch
from feed.services.deadlines import follow
from feed.services.fields import check_may_cut
from feed.services.left import STRUCK, check_new_wording, locked_thing


@transaction.atomic
def record_batch(
    *, stamp: Stamp, field: Field, kg: Decimal, early_reason: str = "", **fields: Any
) -> ForageBatch:
    """Write a load; it happened when the cut began, and its deadline is computed at once.

    Raises ValidationError by field, also when the field still has days to wait.
    """
    check_field(stamp, field, early_reason)
    batch = entries.record(
        ForageBatch, stamp=stamp, field=field, kg=kg, early_reason=early_reason.strip(), **fields
    )
    follow(batch.pk)
    batch.refresh_from_db()
    return batch


@transaction.atomic
def correct_batch(
    batch: ForageBatch,
    *,
    stamp: Stamp,
    reason: str,
    words: str = "",
    field: Field,
    kg: Decimal,
    early_reason: str = "",
    **fields: Any,
) -> ForageBatch:
    """Write a load again under its own number; what was fed of it stays fed.

    Raises Conflict when it is struck already, ValidationError by field when feedings, discards or
    probes speak against the new wording.
    """
    if not batch.is_struck:
        check_new_wording(locked_thing(batch, None), stamp.happened_at, kg)
        check_field(stamp, field, early_reason)
    corrected = entries.correct(
        batch,
        stamp=stamp,
        reason=reason,
        words=words,
        field=field,
        kg=kg,
        early_reason=early_reason.strip(),
        **fields,
    )
    follow(corrected.pk)
    corrected.refresh_from_db()
    return corrected


@transaction.atomic
def strike_batch(batch: ForageBatch, **why: Any) -> ForageBatch:
    """Strike a load. Raises Conflict while feedings, discards or probes hang on it."""
    struck = entries.strike(batch, **why)
    follow(struck.pk)
    return struck


def check_field(stamp: Stamp, field: Field, early_reason: str) -> None:
    """Refuse a struck field, and one that must wait. Raises ValidationError by field."""
    if field.is_struck:
        raise ValidationError({"field": STRUCK.format(thing=field)})
    assert isinstance(stamp.by, User)
    check_may_cut(field, stamp.happened_at, early_reason.strip(), stamp.by)
