"""Loads of fresh-cut forage: cut, corrected, struck."""

from datetime import datetime
from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from config.templatetags.sheet import moment
from feed.models import Field, ForageBatch
from feed.services.deadlines import follow
from feed.services.fields import check_may_cut
from feed.services.left import STRUCK, check_new_wording, locked_thing

ONTO_ITSELF = N_(
    "A load cannot be tipped onto its own heap. Choose the load that lay there before."
)
HEAP_GONE = N_("Nothing is left of {thing} since {at}; a new load lies on a heap of its own.")
CARRIES = N_("{others} lie on the heap of {thing}. Re-enter those first, onto the other heap.")


@transaction.atomic
def record_batch(
    *,
    stamp: Stamp,
    field: Field,
    kg: Decimal,
    early_reason: str = "",
    onto: ForageBatch | None = None,
    **fields: Any,
) -> ForageBatch:
    """Write a load; it happened when the cut began, and its deadline is computed at once.

    Raises ValidationError by field, also when the field still has days to wait.
    """
    check_field(stamp, field, early_reason)
    batch = entries.record(
        ForageBatch,
        stamp=stamp,
        field=field,
        kg=kg,
        early_reason=early_reason.strip(),
        onto=heap_for(onto, stamp.happened_at),
        **fields,
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
    onto: ForageBatch | None = None,
    **fields: Any,
) -> ForageBatch:
    """Write a load again under its own number; what was fed of it stays fed.

    Raises Conflict when it is struck already, ValidationError by field when feedings, discards or
    probes speak against the new wording.
    """
    if not batch.is_struck:
        check_new_wording(locked_thing(batch, None), stamp.happened_at, kg)
        check_field(stamp, field, early_reason)
        check_carries_none(batch, onto)
    was_onto = batch.onto_id
    corrected = entries.correct(
        batch,
        stamp=stamp,
        reason=reason,
        words=words,
        field=field,
        kg=kg,
        early_reason=early_reason.strip(),
        onto=heap_for(onto, stamp.happened_at, batch),
        **fields,
    )
    follow(corrected.pk, was_onto)
    corrected.refresh_from_db()
    return corrected


@transaction.atomic
def strike_batch(batch: ForageBatch, **why: Any) -> ForageBatch:
    """Strike a load. Raises Conflict while feedings, discards or probes hang on it."""
    struck = entries.strike(batch, **why)
    follow(struck.pk, struck.onto_id)
    return struck


def heap_for(
    onto: ForageBatch | None, cut_at: datetime, batch: ForageBatch | None = None
) -> ForageBatch | None:
    """The load whose heap one is tipped onto: the first that lay there. Raises ValidationError."""
    if onto is None:
        return None
    root: ForageBatch = onto.onto or onto
    if root.is_struck or onto.is_struck:
        raise ValidationError({"onto": _(STRUCK).format(thing=onto)})
    if batch is not None and root.pk == batch.pk:
        raise ValidationError({"onto": _(ONTO_ITSELF)})
    lying = ForageBatch.objects.open().filter(Q(pk=root.pk) | Q(onto=root))
    if onto.done_at is not None and onto.done_at < cut_at and not lying.exists():
        raise ValidationError({"onto": _(HEAP_GONE).format(thing=onto, at=moment(onto.done_at))})
    return root


def check_carries_none(batch: ForageBatch, onto: ForageBatch | None) -> None:
    """Refuse to tip a load onto another while others lie on it. Raises ValidationError."""
    others = batch.mixed_in.standing()
    if onto is not None and others.exists():
        names = ", ".join(_("load {other}").format(other=other.pk) for other in others)
        raise ValidationError({"onto": _(CARRIES).format(thing=batch, others=names)})


def check_field(stamp: Stamp, field: Field, early_reason: str) -> None:
    """Refuse a struck field, and one that must wait. Raises ValidationError by field."""
    if field.is_struck:
        raise ValidationError({"field": _(STRUCK).format(thing=field)})
    assert isinstance(stamp.by, User)
    check_may_cut(field, stamp.happened_at, early_reason.strip(), stamp.by)
