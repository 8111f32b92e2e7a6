"""Signs on animals: one that makes milk unfit keeps the cow out of the tank until it is settled."""

from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local
from config.entries import Stamp
from herd.models import Animal, HealthEvent, UnfitSign
from herd.services import withdrawals
from herd.services.touched import seen_with

OTHER_ANIMAL = N_("This settles a sign of {other}, not of {animal}. Choose one of hers.")
SETTLED_BEFORE = N_("A sign cannot be settled before it was seen, {seen}.")


@transaction.atomic
def record_health_event(*, stamp: Stamp, animal: Animal, **fields: Any) -> HealthEvent:
    """Write a sign or diagnosis, or one that settles an earlier one. ValidationError by field."""
    settled: HealthEvent | None = fields.get("settles")
    if settled and settled.animal_id != animal.pk:
        words = _(OTHER_ANIMAL).format(other=settled.animal, animal=animal)
        raise ValidationError({"settles": words})
    if settled and settled.happened_at > stamp.happened_at:
        words = _(SETTLED_BEFORE).format(seen=local(settled.happened_at))
        raise ValidationError({"happened_at": words})
    withdrawals.lock([animal.pk])
    event = entries.record(HealthEvent, stamp=stamp, animal=animal, **fields)
    withdrawals.follow([animal.pk])
    return event


@transaction.atomic
def strike_health_event(
    event: HealthEvent, *, by: Any, reason: str, words: str = "", at: datetime | None = None
) -> HealthEvent:
    """Take a sign back; her milk is judged without it."""
    withdrawals.lock([event.animal_id])
    event = entries.strike(event, by=by, reason=reason, words=words, at=at)
    withdrawals.follow([event.animal_id])
    return event


@transaction.atomic
def record_unfit_sign(*, stamp: Stamp, **fields: Any) -> UnfitSign:
    """A case that keeps milk out from a day on; the cows with it are judged again.

    Raises ValidationError by field.
    """
    rule = entries.record(UnfitSign, stamp=stamp, **fields)
    withdrawals.follow(seen_with(rule.case))
    return rule


@transaction.atomic
def strike_unfit_sign(rule: UnfitSign, *, by: Any, reason: str, words: str = "") -> UnfitSign:
    """Take such a row back; the one before it holds again."""
    rule = entries.strike(rule, by=by, reason=reason, words=words)
    withdrawals.follow(seen_with(rule.case))
    return rule
