"""What was seen on a round: findings on single wheels, and the climate of the rooms."""

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from milk.models import RoomReading, StoreFinding, StorePlace, Wheel
from milk.services.store import NO_SUCH_ROOM, of_wheel

WORDS_NEEDED = N_("Say in words what it is.")


@transaction.atomic
def record_store_finding(
    *, stamp: Stamp, wheel: Wheel, what: str, words: str = "", put_right: bool = False
) -> StoreFinding:
    """Write what was wrong with a wheel. Raises ValidationError by field, Conflict when it left."""
    if what == StoreFinding.What.OTHER and not words.strip():
        raise ValidationError({"words": _(WORDS_NEEDED)})
    found: StoreFinding = of_wheel(
        StoreFinding, stamp, wheel, what=what, words=words.strip(), put_right=put_right
    )
    return found


@transaction.atomic
def record_room_reading(*, stamp: Stamp, room: str, **fields: object) -> RoomReading:
    """Write what a room's thermometer says. Raises ValidationError by field."""
    rooms = sorted(set(StorePlace.objects.standing().values_list("room", flat=True).distinct()))
    if rooms and room not in rooms:
        words = _(NO_SUCH_ROOM).format(room=room, rooms=", ".join(rooms[:20]))
        raise ValidationError({"room": words})
    return entries.record(RoomReading, stamp=stamp, room=room, **fields)
