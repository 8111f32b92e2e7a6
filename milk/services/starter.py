"""Whey of several vats in one can of starter."""

from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local
from config.entries import Stamp
from milk.models import StarterCan, Vat, WheyAdded
from milk.services.flowing import check_stands

BEGUN_WITH_IT = N_("{can} was begun with whey of {vat}; it needs no second entry.")
VAT_LATER = N_("{vat} was begun at {begun}; its whey cannot have gone into a can at {at}.")
CAN_LATER = N_("{can} was filled at {filled}; nothing can have been added at {at}.")


@transaction.atomic
def record_can(*, stamp: Stamp, from_vat: Vat, **fields: Any) -> StarterCan:
    """Write down a can filled with whey of a vat. Raises ValidationError by field."""
    check_stands(from_vat, "from_vat")
    check_vat_before(from_vat, stamp, "from_vat")
    can: StarterCan = entries.record(StarterCan, stamp=stamp, from_vat=from_vat, **fields)
    return can


@transaction.atomic
def record_whey_added(
    *, stamp: Stamp, can: StarterCan, vat: Vat, litres: Decimal | None = None
) -> WheyAdded:
    """Write down whey of a further vat in a can. Raises ValidationError by field."""
    check_stands(can, "can")
    check_stands(vat, "vat")
    if vat.pk == can.from_vat_id:
        words = _(BEGUN_WITH_IT).format(can=capfirst(str(can)), vat=vat)
        raise ValidationError({"vat": words})
    check_vat_before(vat, stamp, "vat")
    if stamp.happened_at < can.happened_at:
        words = _(CAN_LATER).format(
            can=capfirst(str(can)), filled=local(can.happened_at), at=local(stamp.happened_at)
        )
        raise ValidationError({"happened_at": words})
    added: WheyAdded = entries.record(WheyAdded, stamp=stamp, can=can, vat=vat, litres=litres)
    return added


def check_vat_before(vat: Vat, stamp: Stamp, field: str) -> None:
    """Refuse whey of a vat that was begun after the can was filled."""
    if vat.happened_at > stamp.happened_at:
        words = _(VAT_LATER).format(
            vat=capfirst(str(vat)), begun=local(vat.happened_at), at=local(stamp.happened_at)
        )
        raise ValidationError({field: words})
