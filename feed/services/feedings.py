"""Feedings and refusals: what the groups got and what they left."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Sum
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local_day
from config.entries import Stamp
from config.templatetags.sheet import amount, moment
from feed.models import Feeding, FeedLot, ForageBatch, Refusal
from feed.models.batches import LOAD_KG
from feed.services.deadlines import follow
from feed.services.figures import values_on
from feed.services.left import STRUCK, check_goes_out, locked_thing
from herd.models import Group, GroupStay

NOBODY_THERE = N_(
    "No animal stood in {group} at {at}. Look at the group and the time, or write the animals into "
    "the group first."
)
MORE_THAN_FED = N_(
    "In the {hours} h before {at} {group} was given {fed} kg; it cannot have left {kg} kg. Look at "
    "the kilos and the group, or write first what it was fed."
)
NO_SHARES = N_("Write the kilos of at least one group.")


@transaction.atomic
def record_feeding(
    *,
    stamp: Stamp,
    group: Group,
    kg: Decimal,
    batch: ForageBatch | None = None,
    feed_lot: FeedLot | None = None,
    **fields: Any,
) -> Feeding:
    """Write what a group got of a load or of a feed lot.

    Grass fed past its window is a fact and is written; its lateness shows wherever it is read.
    Raises ValidationError by field: before the cut, more than is left, a group without animals.
    """
    thing = locked_thing(batch, feed_lot)
    check_goes_out(thing, stamp.happened_at, kg)
    check_anybody_there(group, stamp.happened_at)
    feeding = entries.record(
        Feeding, stamp=stamp, batch=batch, feed_lot=feed_lot, group=group, kg=kg, **fields
    )
    follow(feeding.batch_id)
    return feeding


@transaction.atomic
def record_feedings(
    *, stamp: Stamp, shares: Iterable[tuple[Group, Decimal]], **fields: Any
) -> list[Feeding]:
    """Write one load, or feed lot, given to several groups in one act: all of them or none.

    ``shares``: (group, kg). Raises ValidationError by field.
    """
    given = list(shares)
    if not given:
        raise ValidationError(_(NO_SHARES))
    # All of it at once: that the last group's kilos are missing would say another rest.
    thing = locked_thing(fields.get("batch"), fields.get("feed_lot"))
    check_goes_out(thing, stamp.happened_at, sum((kg for _, kg in given), Decimal(0)))
    return [
        record_feeding(stamp=stamp.again() if place else stamp, group=group, kg=kg, **fields)
        for place, (group, kg) in enumerate(given)
    ]


@transaction.atomic
def strike_feeding(feeding: Feeding, **why: Any) -> Feeding:
    """Strike a feeding; its kilos are left again."""
    struck = entries.strike(feeding, **why)
    follow(struck.batch_id)
    return struck


def record_refusal(*, stamp: Stamp, group: Group, kg: Decimal, **fields: Any) -> Refusal:
    """Write what a group left. Raises ValidationError by field."""
    check_anybody_there(group, stamp.happened_at)
    check_was_given(group, stamp.happened_at, kg)
    return entries.record(Refusal, stamp=stamp, group=group, kg=kg, **fields)


def check_was_given(group: Group, at: datetime, kg: Decimal) -> None:
    """Refuse to leave more than was given in the time that is cleared. Raises ValidationError.

    Where no feeding is written yet nobody knows what was given; a full wagon is the most then.
    """
    hours = values_on(local_day(at), "cleared_within")["cleared_within"]
    since = at - timedelta(hours=float(hours))
    given = Feeding.objects.standing().filter(
        group=group, happened_at__gt=since, happened_at__lte=at
    )
    fed = given.aggregate(kg=Sum("kg"))["kg"]
    if kg > (LOAD_KG[1] if fed is None else fed):
        words = _(MORE_THAN_FED).format(
            group=group, kg=amount(kg), hours=amount(hours), at=moment(at), fed=amount(fed or 0)
        )
        raise ValidationError({"kg": words})


def check_anybody_there(group: Group, at: datetime) -> None:
    """Refuse a struck group, and one without animals at that time. Raises ValidationError."""
    if group.is_struck:
        raise ValidationError({"group": _(STRUCK).format(thing=group)})
    if not GroupStay.objects.at(at).filter(group=group).exists():
        raise ValidationError({"group": _(NOBODY_THERE).format(group=group, at=moment(at))})
