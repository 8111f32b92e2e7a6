"""Writing down what the authority said of the herd; a freedom that is lost holds its milk."""

from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from config.language import in_estate_language
from milk.models import HerdStatus, Hold, MilkLot
from milk.services import holds

LOST = N_("milk of the herd since it is {status} ({source})")
STRUCK = N_("The status was struck: it was written by mistake.")


@transaction.atomic
def record_herd_status(*, stamp: Stamp, **fields: Any) -> HerdStatus:
    """Officially free or not, from a moment on. ValidationError by field.

    Not free: every lot of the herd's own milk since then is held, with its vats and wheels, also
    when it is written days later. Free again lets nothing go: two people decide about the hold.
    """
    status: HerdStatus = entries.record(HerdStatus, stamp=stamp, **fields)
    lots = [] if status.free else own_lots_since(status.happened_at)
    if lots:
        with in_estate_language():
            said = _(LOST).format(status=status, source=status.source)
        holds.hold_automatically(
            cause=cause_of_status(status),
            reason=Hold.Reason.OTHER,
            words=said,
            lots=lots,
            at=timezone.now(),
        )
    return status


@transaction.atomic
def strike_herd_status(
    status: HerdStatus, *, by: Any, reason: str, words: str = "", at: datetime | None = None
) -> HerdStatus:
    """Take a status back; a hold that stands on it alone goes with it."""
    status = entries.strike(status, by=by, reason=reason, words=words, at=at)
    with in_estate_language():
        said = _(STRUCK)
    holds.cause_gone(cause_of_status(status), at=timezone.now(), words=said)
    return status


def own_lots_since(moment: datetime) -> list[int]:
    """The lots (ids) of the herd's own milk that stood in a tank at a moment or came after it."""
    lots = MilkLot.objects.valid().filter(delivery=None)
    after = Q(ended_at=None) | Q(ended_at__gt=moment)
    return list(lots.filter(after).order_by("pk").values_list("pk", flat=True))


def cause_of_status(status: HerdStatus) -> str:
    """The cause key of a hold that stands on a lost status."""
    return f"status:{status.uuid}"
