"""Wheels in brine and in the store."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from config import entries
from config.days import local
from config.entries import Entry, Stamp
from config.errors import Conflict
from milk.models import BrineStay, StorePlace, StoreStay, Wheel
from milk.places import SENT, where_is
from milk.services.flowing import check_stands

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
