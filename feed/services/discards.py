"""Forage thrown away: how much, why and where it went."""

from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local_day
from config.entries import Stamp
from config.templatetags.sheet import amount
from feed.models import Discard, FeedLot, ForageBatch
from feed.services.deadlines import follow
from feed.services.figures import values_on
from feed.services.left import check_goes_out, locked_thing

OWN_WITNESS = N_("Nobody is their own witness. Name another person who saw it.")
WITNESS_MISSING = N_("More than {most} kg are discarded before a witness. Name who saw it.")


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
    check_witness(stamp, kg, witness.strip())
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


def check_witness(stamp: Stamp, kg: Decimal, witness: str) -> None:
    """Refuse a large discard that nobody else saw. Raises ValidationError at ``witness``."""
    most = values_on(local_day(stamp.happened_at), "witness_above")["witness_above"]
    if kg > most and not witness:
        raise ValidationError({"witness": _(WITNESS_MISSING).format(most=amount(most))})
    assert isinstance(stamp.by, User)
    own = {stamp.by.username.casefold(), stamp.by.get_full_name().casefold()}
    if witness and witness.casefold() in own:
        raise ValidationError({"witness": _(OWN_WITNESS)})


@transaction.atomic
def strike_discard(discard: Discard, **why: Any) -> Discard:
    """Strike a discard; its kilos are left again, and past if they were past."""
    struck = entries.strike(discard, **why)
    follow(struck.batch_id)
    return struck
