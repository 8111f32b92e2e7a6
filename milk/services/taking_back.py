"""Taking back a hold written by mistake, or one's own word about a hold.

A strike must not be the way around two people: a hold is struck by its own writer only, for half
an hour, while nobody has decided. Taking back a decision is always safe: the hold stands again.
"""

from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.errors import Conflict
from config.roles import OWN_MISTAKE
from milk.models import Hold, HoldDecision
from milk.services.holds import held_lots, outcome_of, silence, tell

OF_THE_PROGRAM = N_(
    "The program wrote this because of an entry. Strike that entry; this one then goes by itself."
)
NOT_YOURS = N_(
    "A hold is struck only by whoever wrote it, by mistake and within {minutes} minutes. Now two "
    "different people must decide about it."
)
NOT_YOUR_WORD = N_("Only {who} can take back this decision.")


@transaction.atomic
def strike_hold(hold: Hold, *, by: Any, reason: str, words: str = "") -> Hold:
    """Take a hold back that was written by mistake. Raises Conflict for anything else."""
    hold = Hold.objects.select_for_update().get(pk=hold.pk)
    if hold.cause_key:
        raise Conflict(_(OF_THE_PROGRAM))
    fresh = timezone.now() - hold.received_at <= OWN_MISTAKE
    decided = HoldDecision.objects.standing().filter(hold=hold).exists()
    if not hold.is_struck and (hold.by_id != by.pk or not fresh or decided):
        raise Conflict(_(NOT_YOURS).format(minutes=int(OWN_MISTAKE.total_seconds() // 60)))
    struck = entries.strike(hold, by=by, reason=reason, words=words)
    silence(hold)
    return struck


@transaction.atomic
def strike_decision(
    decision: HoldDecision, *, by: Any, reason: str, words: str = ""
) -> HoldDecision:
    """Take one's own decision back; a hold that was decided by it is open again, and rings."""
    hold = Hold.objects.select_for_update().get(pk=decision.hold_id)
    if decision.decision == HoldDecision.Decision.CAUSE_GONE:
        raise Conflict(_(OF_THE_PROGRAM))
    if decision.by_id != by.pk:
        raise Conflict(_(NOT_YOUR_WORD).format(who=decision.by))
    was_decided = bool(outcome_of(hold))
    struck = entries.strike(decision, by=by, reason=reason, words=words)
    if was_decided and not outcome_of(hold):
        now = timezone.now()
        tell(hold, held_lots(hold, now), now)
    return struck
