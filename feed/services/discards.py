"""Forage thrown away: how much, why and where it went."""

from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from config import entries
from config.entries import Stamp
from config.templatetags.sheet import amount
from feed.models import Discard, FeedLot, ForageBatch
from feed.services.deadlines import follow
from feed.services.left import check_goes_out, locked_thing

# House rule of the estate: more than a tonne is not thrown away by one person alone.
WITNESS_ABOVE_KG = Decimal(1000)
WITNESS_MISSING = "More than {most} kg are discarded before a witness. Name who saw it."


@transaction.atomic
def record_discard(
    *,
    stamp: Stamp,
    kg: Decimal,
    batch: ForageBatch | None = None,
    feed_lot: FeedLot | None = None,
    witness: str = "",
    **fields: Any,
) -> Discard:
    """Write what was thrown away of a load or of a feed lot.

    Raises ValidationError by field: before the cut, more than is left, a witness missing.
    """
    check_goes_out(locked_thing(batch, feed_lot), stamp.happened_at, kg)
    if kg > WITNESS_ABOVE_KG and not witness.strip():
        words = WITNESS_MISSING.format(most=amount(WITNESS_ABOVE_KG))
        raise ValidationError({"witness": words})
    discard = entries.record(
        Discard,
        stamp=stamp,
        batch=batch,
        feed_lot=feed_lot,
        kg=kg,
        witness=witness.strip(),
        **fields,
    )
    follow(discard.batch_id)
    return discard


@transaction.atomic
def strike_discard(discard: Discard, **why: Any) -> Discard:
    """Strike a discard; its kilos are left again, and past if they were past."""
    struck = entries.strike(discard, **why)
    follow(struck.batch_id)
    return struck
