"""Wheels on their way out."""

from decimal import Decimal
from typing import Any

from django.db import transaction

from config import entries
from config.entries import Stamp
from herd.models import Holding
from milk.held import check_may_leave
from milk.models import Dispatch, Wheel
from milk.services.flowing import check_stands, check_weight
from milk.services.store import check_here, check_wheel, of_wheel
from milk.services.wheel_places import place_again


@transaction.atomic
def record_dispatch(
    *, stamp: Stamp, wheel: Wheel, buyer: Holding, kg: Decimal, **fields: Any
) -> Dispatch:
    """Write down that a wheel left, to whom and with which paper.

    Raises ValidationError by field; Conflict when it is held or has left already.
    """
    check_stands(buyer, "buyer")
    check_weight(kg)
    check_may_leave(wheel, stamp.happened_at)
    left: Dispatch = of_wheel(Dispatch, stamp, wheel, buyer=buyer, kg=kg, **fields)
    return left


@transaction.atomic
def correct_dispatch(
    dispatch: Dispatch, *, stamp: Stamp, reason: str, words: str = "", **fields: Any
) -> Dispatch:
    """Write a dispatch again under its number; another wheel is checked as if it left now."""
    before, wheel = dispatch.wheel_id, fields.get("wheel", dispatch.wheel)
    check_stands(fields.get("buyer", dispatch.buyer), "buyer")
    check_weight(fields.get("kg", dispatch.kg))
    check_wheel(stamp, wheel)
    if wheel.pk != dispatch.wheel_id:
        check_may_leave(wheel, stamp.happened_at)
        check_here(stamp, wheel)
    corrected: Dispatch = entries.correct(
        dispatch, stamp=stamp, reason=reason, words=words, **fields
    )
    # The wheel it named before is here again.
    place_again({before, corrected.wheel_id})
    return corrected
