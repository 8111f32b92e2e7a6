"""Feed lots: hay, meal and other bought or stored feed."""

from decimal import Decimal
from typing import Any

from django.db import transaction

from config import entries
from config.entries import Stamp
from feed.models import FeedLot
from feed.services.left import check_new_wording, locked_thing


@transaction.atomic
def correct_feed_lot(
    lot: FeedLot, *, stamp: Stamp, reason: str, words: str = "", kg: Decimal, **fields: Any
) -> FeedLot:
    """Write a feed lot again under its own number; what was fed of it stays fed.

    Raises Conflict when it is struck already, ValidationError by field.
    """
    if not lot.is_struck:
        check_new_wording(locked_thing(None, lot), stamp.happened_at, kg)
    return entries.correct(lot, stamp=stamp, reason=reason, words=words, kg=kg, **fields)
