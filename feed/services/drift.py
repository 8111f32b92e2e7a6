"""One ring a day for all the shares of the feed that drift; it closes when none does."""

from datetime import datetime

from django.db import transaction
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local_day
from config.language import in_estate_language
from config.models import Notice
from config.notices import close_gone
from config.roles import FEED_HAND
from feed.drifting import drifting
from feed.rings import Ring, bundle_words
from feed.services.figures import values_on
from feed.services.ringing import DRIFT, ROOM, SHIFT_FIGURES, raise_one, rang_alone, shift_of

SHARES = N_("{count} shares of the feed: {what}")
IF_NOT = N_("A share missed over the year cannot be made good in its last weeks.")


@transaction.atomic
@in_estate_language()
def ring_for_drift(at: datetime) -> dict[str, int]:
    """Ring once for every share that is missed or near its bound; how many they are.

    A share can wait: in a shift that has rung as often as it may, it is told of in the next one.
    """
    found = drifting(at)
    rings = Notice.objects.filter(cause=DRIFT, closed_at=None).exists()
    if found and (rings or has_room(at)):
        told = [Ring(cause=cause, role=FEED_HAND, what=words) for cause, words, _ in found]
        ring = Ring(
            cause=DRIFT,
            role=FEED_HAND,
            what=bundle_words(told, ROOM, _(SHARES)),
            otherwise=_(IF_NOT),
            url=reverse("feed:ration"),
        )
        raise_one(ring, at, is_new=not rings)
    close_gone(DRIFT, {DRIFT} if found else set(), at)
    return {"drifting": len(found)}


def has_room(at: datetime) -> bool:
    """Whether the shift has a ring left besides that of its bundle."""
    figures = values_on(local_day(at), *SHIFT_FIGURES)
    rung = rang_alone(FEED_HAND, shift_of(at, figures))
    return rung < int(figures["rings_a_shift"]) - 1
