"""One ring a day for all the shares of the feed that drift; it closes when none does."""

from datetime import datetime

from django.db import transaction
from django.urls import reverse

from config.notices import close_gone, raise_notice
from config.roles import FEED_HAND
from feed.drifting import drifting
from feed.rings import Ring, bundle_words
from feed.services.notices import ROOM

CAUSE = "feed-shares:drift"
IF_NOT = "A share missed over the year cannot be made good in its last weeks."


@transaction.atomic
def ring_for_drift(at: datetime) -> dict[str, int]:
    """Ring once for every share that is missed or near its bound; how many they are."""
    found = drifting(at)
    if found:
        rings = [Ring(cause=cause, role=FEED_HAND, what=words) for cause, words, _ in found]
        raise_notice(
            cause=CAUSE,
            role=FEED_HAND,
            what=bundle_words(rings, ROOM),
            otherwise=IF_NOT,
            url=reverse("feed:ration"),
        )
    close_gone(CAUSE, {CAUSE} if found else set(), at)
    return {"drifting": len(found)}
