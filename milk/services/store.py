"""Wheels in brine, in the store, inspected, and on their way out."""

from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from config import entries
from config.days import local
from config.entries import Entry, Stamp
from config.errors import Conflict
from herd.models import Holding
from milk.held import check_may_leave
from milk.models import BrineStay, Dispatch, Inspection, StorePlace, StoreStay, Wheel
from milk.places import SENT, where_is
from milk.services.flowing import check_stands, check_weight

BEFORE_LIFT = "{wheel} was lifted at {lifted}; this cannot have happened to it at {at}."
GONE = (
    "{wheel} was {place} at {since}. A wheel that came back is first laid on a place of the store. "
    "Nothing was saved."
)


def check_wheel(stamp: Stamp, wheel: Wheel) -> None:
    """Refuse what happens to a struck wheel, or to one before it was lifted."""
    check_stands(wheel, "wheel")
    if stamp.happened_at < wheel.happened_at:
        words = BEFORE_LIFT.format(
            wheel=str(wheel).capitalize(),
            lifted=local(wheel.happened_at),
            at=local(stamp.happened_at),
        )
        raise ValidationError({"happened_at": words})


def check_here(stamp: Stamp, wheel: Wheel) -> None:
    """Refuse what happens to a wheel that had left the estate by then. Raises Conflict."""
    place = where_is([wheel.pk], stamp.happened_at)[wheel.pk]
    if place.kind == SENT and place.at is not None:
        words = GONE.format(wheel=str(wheel).capitalize(), place=place, since=local(place.at))
        raise Conflict(words)


def of_wheel(model: type[Entry], stamp: Stamp, wheel: Wheel, **fields: Any) -> Any:
    """An entry about a wheel that is here."""
    check_wheel(stamp, wheel)
    check_here(stamp, wheel)
    return entries.record(model, stamp=stamp, wheel=wheel, **fields)


@transaction.atomic
def record_brine_stay(*, stamp: Stamp, wheel: Wheel, bath: str, row: str = "") -> BrineStay:
    """Put a wheel into brine. Raises ValidationError by field, Conflict for one that has left."""
    stay: BrineStay = of_wheel(BrineStay, stamp, wheel, bath=bath, row=row)
    return stay


@transaction.atomic
def record_store_stay(*, stamp: Stamp, wheel: Wheel, place: StorePlace) -> StoreStay:
    """Lay a wheel on a place of the store; one that had left has come back."""
    check_wheel(stamp, wheel)
    check_stands(place, "place")
    stay: StoreStay = entries.record(StoreStay, stamp=stamp, wheel=wheel, place=place)
    return stay


@transaction.atomic
def record_inspection(
    *, stamp: Stamp, wheel: Wheel, kg: Decimal | None = None, **fields: Any
) -> Inspection:
    """Write down what was found on a wheel. Raises ValidationError by field."""
    check_weight(kg)
    looked: Inspection = of_wheel(Inspection, stamp, wheel, kg=kg, **fields)
    return looked


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
    wheel = fields.get("wheel", dispatch.wheel)
    check_stands(fields.get("buyer", dispatch.buyer), "buyer")
    check_weight(fields.get("kg", dispatch.kg))
    check_wheel(stamp, wheel)
    if wheel.pk != dispatch.wheel_id:
        check_may_leave(wheel, stamp.happened_at)
        check_here(stamp, wheel)
    corrected: Dispatch = entries.correct(
        dispatch, stamp=stamp, reason=reason, words=words, **fields
    )
    return corrected
