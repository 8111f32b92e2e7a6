"""Medicines in and out of the cupboard. What leaves the shelf must have been on it."""

from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local
from config.entries import Stamp
from herd import stock
from herd.cupboard import amount, events_of
from herd.models import Medicine, MedicineMove

MORE_THAN_THERE = N_(
    "At {at} the shelf held {there} {unit} of batch {batch} of {medicine} that were not used "
    "since; {quantity} {unit} cannot be written as {what}. Write the receipt that is missing, or "
    "count the shelf first."
)
NOTHING_MOVED = N_("Nothing came in or left. Expected more than 0 {unit}; a count may be 0.")
NO_BATCH = N_("Expected the number of the batch, as it is printed on the pack.")
CAME_EXPIRED = N_(
    "This pack expired on {expires}, before it came on {day}. Look at the date on the pack again; "
    "expired medicine goes back to the supplier."
)
LEAVING = (
    MedicineMove.What.BROKEN,
    MedicineMove.What.RETURNED,
    MedicineMove.What.DESTROYED,
    MedicineMove.What.USED,
)


@transaction.atomic
def record_move(
    *,
    stamp: Stamp,
    medicine: Medicine,
    what: str,
    quantity: Decimal,
    batch: str,
    expires_on: date | None = None,
    **fields: Any,
) -> MedicineMove:
    """Write what came in, left or was counted, in the unit of a dose.

    Breakage, returns, destruction and use without a dose are refused when they would take the batch
    below nothing, then or later. Raises ValidationError by field.
    """
    # One at a time for each medicine: two phones must not break the same last tube.
    Medicine.objects.select_for_update(no_key=True).get(pk=medicine.pk)
    batch = " ".join(batch.split())
    check_move(stamp, medicine, what, quantity, batch, expires_on)
    return entries.record(
        MedicineMove,
        stamp=stamp,
        medicine=medicine,
        what=what,
        quantity=quantity,
        batch=batch,
        expires_on=expires_on,
        **fields,
    )


def check_move(
    stamp: Stamp,
    medicine: Medicine,
    what: str,
    quantity: Decimal,
    batch: str,
    expires_on: date | None,
) -> None:
    """Refuse what cannot have been so. Raises ValidationError by field."""
    if not batch:
        raise ValidationError({"batch": _(NO_BATCH)})
    if not quantity and what != MedicineMove.What.COUNTED:
        raise ValidationError({"quantity": _(NOTHING_MOVED).format(unit=medicine.unit)})
    day = timezone.localdate(stamp.happened_at)
    if what == MedicineMove.What.RECEIVED and expires_on and expires_on < day:
        words = _(CAME_EXPIRED).format(expires=expires_on, day=day)
        raise ValidationError({"expires_on": words})
    if what in LEAVING:
        check_room(stamp, medicine, what, quantity, batch)


def check_room(stamp: Stamp, medicine: Medicine, what: str, quantity: Decimal, batch: str) -> None:
    """Refuse to take more off the shelf than it held. Raises ValidationError at ``quantity``."""
    there = stock.room(events_of(medicine, batch), stamp.happened_at)
    if quantity > there:
        words = _(MORE_THAN_THERE).format(
            at=local(stamp.happened_at),
            there=amount(there),
            unit=medicine.unit,
            batch=batch,
            medicine=medicine,
            quantity=amount(quantity),
            what=dict(MedicineMove.What.choices)[what],
        )
        raise ValidationError({"quantity": words})
