"""Rennet by batch: what may be written about it."""

from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local, local_day
from config.entries import Stamp
from milk.models import RennetBatch, RennetStep
from milk.services.flowing import check_stands, weight

PAST = N_(
    "It came on {came} and was best before {best}. Look at both; rennet past its date goes back."
)
NOT_YET = N_("{batch} came in at {came}; it cannot have been “{what}” at {at}.")
MORE_THAN_CAME = N_("{g} g is more than the {came} g that came of {batch}. Look at the number.")


@transaction.atomic
def record_batch(*, stamp: Stamp, best_before: date | None = None, **fields: Any) -> RennetBatch:
    """Write down rennet that came in. Raises ValidationError by field."""
    came = local_day(stamp.happened_at)
    if best_before is not None and best_before < came:
        raise ValidationError({"best_before": _(PAST).format(came=came, best=best_before)})
    return entries.record(RennetBatch, stamp=stamp, best_before=best_before, **fields)


@transaction.atomic
def record_step(
    *, stamp: Stamp, batch: RennetBatch, what: str, g: Decimal | None = None, **fields: Any
) -> RennetStep:
    """Write down a batch opened, finished, counted or thrown away. Raises by field."""
    check_stands(batch, "batch")
    if stamp.happened_at < batch.happened_at:
        words = _(NOT_YET).format(
            batch=capfirst(str(batch)),
            came=local(batch.happened_at),
            what=dict(RennetStep.What.choices).get(what, what),
            at=local(stamp.happened_at),
        )
        raise ValidationError({"happened_at": words})
    if g is not None and g > batch.g:
        words = _(MORE_THAN_CAME).format(g=weight(g), came=weight(batch.g), batch=batch)
        raise ValidationError({"g": words})
    return entries.record(RennetStep, stamp=stamp, batch=batch, what=what, g=g, **fields)
