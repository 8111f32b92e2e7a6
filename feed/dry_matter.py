"""The dry matter of a feed, and how it is known: measured, written, or taken from the last one.

What nobody ever measured stays unknown; nothing is filled in that a person did not once find.
"""

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local_day
from config.templatetags.sheet import hours
from feed.models import DryMatterSample, FeedLot, ForageBatch
from feed.services.figures import values_on

OWN, WRITTEN, TAKEN = N_("a sample of it"), N_("written on it"), N_("taken from the last one")


@dataclass(frozen=True)
class Known:
    """Dry matter in %, how it is known, and when the grass was sampled that it was found in."""

    percent: Decimal
    how: str
    taken_at: datetime

    def age(self, at: datetime) -> timedelta:
        """How old the finding was at a moment."""
        return at - self.taken_at

    def words(self, at: datetime) -> str:
        """How it is known, with its age when it is another load's."""
        return (
            _("{how}, {age} older").format(how=_(TAKEN), age=hours(self.age(at)))
            if self.how == TAKEN
            else _(self.how)
        )


def of_batches(batches: Iterable[ForageBatch]) -> dict[int, Known]:
    """By load (key), its dry matter; a load of which nothing is known is left out. Five statements.

    A sample of the load itself counts first, then what is written on it, then the newest grass that
    was known when it was cut.
    """
    asked = {batch.pk: batch for batch in batches}
    if not asked:
        return {}
    own = {
        batch: (percent, at)
        for batch, percent, at in DryMatterSample.objects.standing()
        .filter(batch__in=list(asked))
        .order_by("happened_at", "pk")
        .values_list("batch", "percent", "happened_at")
    }
    found: dict[int, Known] = {}
    for key, batch in asked.items():
        if key in own:
            found[key] = Known(own[key][0], OWN, own[key][1])
        elif batch.dry_matter is not None:
            found[key] = Known(batch.dry_matter, WRITTEN, batch.happened_at)
    without = [batch for key, batch in asked.items() if key not in found]
    if without:
        moments = [batch.happened_at for batch in without]
        last = Grass(min(moments), max(moments))
        for batch in without:
            known = last.at(batch.happened_at)
            if known is not None:
                found[batch.pk] = known
    return found


class Grass:
    """What was known of grass at any moment of a span: samples, and what is written on loads.

    ``reach``: grass of another season says nothing; the last one known is taken no further back.
    Three statements.
    """

    def __init__(self, first: datetime, last: datetime) -> None:
        days = values_on(local_day(last), "grass_reach")["grass_reach"]
        self.reach = timedelta(days=float(days))
        span = Q(happened_at__gt=first - self.reach, happened_at__lte=last)
        samples = DryMatterSample.objects.standing().filter(span, feed_lot=None)
        loads = ForageBatch.objects.standing().filter(span, dry_matter__isnull=False)
        rows = sorted(
            [
                *loads.values_list("happened_at", "dry_matter"),
                *samples.values_list("happened_at", "percent"),
            ],
            key=lambda row: row[0],
        )
        self.moments = [at for at, _ in rows]
        self.percents = [percent for _, percent in rows]

    def at(self, moment: datetime) -> Known | None:
        """The newest finding by then; None when there is none, or only of another season."""
        place = bisect_right(self.moments, moment)
        if not place or moment - self.moments[place - 1] >= self.reach:
            return None
        return Known(self.percents[place - 1], TAKEN, self.moments[place - 1])


def of_lots(lots: Iterable[FeedLot]) -> dict[int, Known]:
    """By feed lot (key), its dry matter: its newest sample, else what is written on it."""
    asked = {lot.pk: lot for lot in lots}
    samples = (
        DryMatterSample.objects.standing()
        .filter(feed_lot__in=list(asked))
        .order_by("happened_at", "pk")
        .values_list("feed_lot", "percent", "happened_at")
    )
    found = {
        key: Known(lot.dry_matter, WRITTEN, lot.happened_at)
        for key, lot in asked.items()
        if lot.dry_matter is not None
    }
    return found | {lot: Known(percent, OWN, at) for lot, percent, at in samples}
