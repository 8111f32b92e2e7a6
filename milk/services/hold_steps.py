"""Steps on a hold, and what the people on duty are told about holds that stand still."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from config import entries
from config.entries import Stamp
from config.jobs import ask
from milk.models import Hold, HoldStep
from milk.services.flowing import check_stands

BEFORE_THE_HOLD = "It was held at {held}; a step on it cannot be older than that."


@transaction.atomic
def record_step(*, stamp: Stamp, hold: Hold, what: str, **fields: Any) -> HoldStep:
    """Write down what was done about a hold. Raises ValidationError by field."""
    check_stands(hold, "hold")
    if stamp.happened_at < hold.happened_at:
        held = timezone.localtime(hold.happened_at).strftime("%Y-%m-%d %H:%M")
        raise ValidationError({"happened_at": BEFORE_THE_HOLD.format(held=held)})
    step: HoldStep = entries.record(HoldStep, stamp=stamp, hold=hold, what=what, **fields)
    ask("milk.tasks.look_at_holds")
    return step
