"""Everything below a recall held in one act, in the name of whoever does it."""

from collections.abc import Iterator
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from config.errors import Conflict
from config.language import in_estate_language
from milk.below import below as frozen_below
from milk.models import Hold, Recall
from milk.recalls_below import Below, below_root
from milk.recalls_roots import find_root
from milk.services.holds import add_items, tell
from milk.services.recalls import check_runs

A_DRILL = N_("This is a drill: nothing is held because of it. Nothing was saved.")
NOTHING_TO_HOLD = N_("Nothing lies below this recall, so there is nothing to hold.")
HELD_ALREADY = N_("Everything below this recall is held because of it already.")
NO_REASON = N_("“{reason}” is no reason of such a hold. Expected one of {reasons}.")
# “Inhibitor” is left out: such a hold is released by what answers a positive result of its lots.
REASONS = (Hold.Reason.OTHER, Hold.Reason.WITHHELD, Hold.Reason.LIMIT, Hold.Reason.FEED)
LONGEST_WORDS = 400


def cause_of_hold(recall: Recall) -> str:
    """What the cause keys of a recall's holds begin with."""
    return f"recall-hold:{recall.uuid}"


@transaction.atomic
def hold_recall(*, stamp: Stamp, recall: Recall, reason: str = Hold.Reason.OTHER) -> list[Hold]:
    """Hold all below a recall: its lots by one hold, else each vat, else each wheel.

    Raises ValidationError by field; Conflict for a drill, and when nothing is left to hold.
    """
    recall = Recall.objects.select_for_update(of=("self",)).get(pk=recall.pk)
    check_runs(recall, stamp)
    if recall.drill:
        raise Conflict(_(A_DRILL))
    if reason not in REASONS:
        said = ", ".join(REASONS)
        raise ValidationError({"reason": _(NO_REASON).format(reason=reason, reasons=said)})
    root = find_root(recall.root_kind, recall.root)
    below = below_root(
        root, reach=recall.reach, since=recall.since, until=recall.until, at=stamp.happened_at
    )
    cause = cause_of_hold(recall)
    wanted = list(to_hold(cause, below))
    if not wanted:
        raise Conflict(_(NOTHING_TO_HOLD))
    standing = Hold.objects.standing().filter(cause_key__startswith=cause)
    held = set(standing.values_list("cause_key", flat=True))
    with in_estate_language():
        words = _("recall of {root_name}: {reason}").format(
            root_name=recall.root_name, reason=recall.reason
        )[:LONGEST_WORDS]
    several = [
        (stamp.again(), {"reason": reason, "words": words, **fields})
        for fields in wanted
        if fields["cause_key"] not in held
    ]
    if not several:
        raise Conflict(_(HELD_ALREADY))
    made = entries.record_all(Hold, several)
    if below.lots:
        add_items(made[0], below.lots)
        tell(made[0], below.lots, timezone.now())
    return made


def to_hold(cause: str, below: Below) -> Iterator[dict[str, Any]]:
    """The fields of every hold a recall asks for; a wheel's tree is the wheel."""
    names = {vat.pk: vat.name for vat in below.vats}
    if below.lots:
        yield {"cause_key": cause, "tree": frozen_below(below.lots).as_tree()}
    elif below.root.kind in ("vat", "can", "rennet"):
        for vat in below.vats:
            tree = frozen_below([], vat_ids=[vat.pk]).as_tree()
            yield {"cause_key": f"{cause}#vat-{vat.pk}", "vat_id": vat.pk, "tree": tree}
    else:
        for wheel in below.wheels:
            named = {"id": str(wheel.uuid), "name": wheel.plate, "vat": names[wheel.vat_id]}
            tree = {"lots": [], "vats": [], "wheels": [named], "second_ring": []}
            yield {"cause_key": f"{cause}#wheel-{wheel.pk}", "wheel_id": wheel.pk, "tree": tree}
