"""Steps on a hold, and what the people on duty are told about holds that stand still."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local
from config.entries import Stamp
from config.jobs import ask
from milk.models import Hold, HoldStep
from milk.services.flowing import check_stands

BEFORE_THE_HOLD = N_("It was held at {held}; a step on it cannot be older than that.")


@transaction.atomic
def record_step(*, stamp: Stamp, hold: Hold, what: str, **fields: Any) -> HoldStep:
    """Write down what was done about a hold. Raises ValidationError by field."""
    check_stands(hold, "hold")
    if stamp.happened_at < hold.happened_at:
        held = local(hold.happened_at)
        raise ValidationError({"happened_at": _(BEFORE_THE_HOLD).format(held=held)})
    step: HoldStep = entries.record(HoldStep, stamp=stamp, hold=hold, what=what, **fields)
    ask("milk.tasks.look_at_holds")
    return step
