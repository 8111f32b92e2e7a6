"""Whether a pack was past its date when it went into a cow."""

from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local
from herd.models import MedicineMove
from herd.stock import batch_key

EXPIRED = N_(
    "This pack expired on {expires}, before the dose of {at}. If the date is right, give another "
    "pack; if it was given all the same, leave the batch and its date out and tell the vet."
)


def check_in_date(at: datetime, medicine: int, batch: str, expires_on: date | None = None) -> None:
    """Refuse a pack that had expired by its date, or by what was received of its batch.

    Raises ValidationError at ``expires_on`` or ``batch``.
    """
    field = "expires_on" if expires_on else "batch"
    expires_on = expires_on or expiry_of(medicine, batch)
    if expires_on and expires_on < timezone.localdate(at):
        words = _(EXPIRED).format(expires=expires_on.isoformat(), at=local(at))
        raise ValidationError({field: words})


def expiry_of(medicine: int, batch: str) -> date | None:
    """When a batch expires by what was received of it, however it is spelled; None: not known."""
    if not batch:
        return None
    received = MedicineMove.objects.standing().filter(
        medicine_id=medicine, what=MedicineMove.What.RECEIVED, expires_on__isnull=False
    )
    dated = received.order_by("-expires_on").values_list("batch", "expires_on")
    return next((day for name, day in dated if batch_key(name) == batch_key(batch)), None)
