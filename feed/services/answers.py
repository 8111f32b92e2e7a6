"""Answers to where the rest of a load went: to a group, or it lies there still."""

from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.entries import Stamp
from feed.board import Row, row_of
from feed.models import Feeding, ForageBatch, HeapCheck
from feed.services.feedings import record_feeding
from feed.services.heaps import record_heap_check
from feed.services.left import locked_thing
from herd.models import Group

NOTHING_ASKED = N_(
    "Nothing of {batch} is asked for any more: it is written where it went. Look at the load."
)


@transaction.atomic
def answer_group(*, stamp: Stamp, batch: ForageBatch, group: Group, **fields: Any) -> Feeding:
    """Write that a group had the rest of a load, a guess, at the time of the load's last feeding.

    Raises ValidationError when nothing is asked for, or no animal stood in the group then.
    """
    row = asked(batch, stamp.happened_at)
    last: datetime = row.fed[-1].feeding.happened_at
    return record_feeding(
        stamp=Stamp.now(stamp.by, last, device=stamp.device, uuid=stamp.uuid),
        batch=batch,
        group=group,
        kg=row.asked_kg,
        weighed=False,
        asked=True,
        **fields,
    )


@transaction.atomic
def answer_still(*, stamp: Stamp, batch: ForageBatch) -> HeapCheck:
    """Write that the rest of a load lies there still. Raises ValidationError when none is asked."""
    row = asked(batch, stamp.happened_at)
    return record_heap_check(stamp=stamp, batch=batch, still_kg=row.left_kg)


def asked(batch: ForageBatch, at: datetime) -> Row:
    """The row of a load whose rest is asked for, locked. Raises ValidationError."""
    locked_thing(batch, None)
    row = row_of(batch, at)
    if not row.asks:
        raise ValidationError(_(NOTHING_ASKED).format(batch=batch))
    return row
