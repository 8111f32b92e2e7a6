"""Cuts written at a time that came twice: which of the two it was, the earlier until somebody says.

The window of a load runs from its cut, so the earlier of the two is the cautious one.
"""

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import shown_alike
from config.entries import Stamp
from config.language import in_estate_language
from feed.models import ForageBatch
from feed.services.batches import correct_batch
from feed.services.weights import KEPT

TIME = "time"
FIRST, SECOND = "before", "after"
SAID = {
    FIRST: N_("before the clocks went back"),
    SECOND: N_("after the clocks went back"),
}
NOTHING_ASKED = N_("Nobody asks for the hour of {batch}: its cut is sure, or it was said before.")
WHICH = N_("Say whether it was cut before or after the clocks went back.")


def doubtful(batch: ForageBatch) -> bool:
    """Whether a load was cut at a typed time that came twice, and nobody said which it was.

    A time that a clock took has seconds, and is sure. One that was looked at again is sure too.
    """
    at = batch.happened_at
    if at.second or at.microsecond or shown_alike(at) is None:
        return False
    older = batch.replaces
    while older is not None:
        if older.struck_reason == TIME:
            return False
        older = older.replaces
    return True


def moments(batch: ForageBatch) -> tuple[datetime, datetime]:
    """The two moments of a doubtful cut, the earlier first."""
    other = shown_alike(batch.happened_at)
    assert other is not None
    return min(batch.happened_at, other), max(batch.happened_at, other)


@transaction.atomic
def answer_hour(*, stamp: Stamp, batch: ForageBatch, which: str) -> ForageBatch:
    """Write a load again with the moment it was cut; everything else stays as it was.

    ``which``: "before" or "after" the clocks went back. Raises ValidationError when nothing is
    asked, and by field when something was fed of it before that moment.
    """
    if which not in (FIRST, SECOND):
        raise ValidationError({"which": _(WHICH)})
    if batch.is_struck or not doubtful(batch):
        raise ValidationError(_(NOTHING_ASKED).format(batch=batch))
    at = moments(batch)[which == SECOND]
    with in_estate_language():
        words = _(SAID[which])
    return correct_batch(
        batch,
        stamp=Stamp.now(stamp.by, at, device=stamp.device),
        reason=TIME,
        words=words,
        kg=batch.kg,
        weighed=batch.weighed,
        **{name: getattr(batch, name) for name in KEPT},
    )
