"""What was put before the groups between two days, with its dry matter and where it grew."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import Sum
from django.db.models.functions import TruncDate

from feed import dry_matter
from feed.days import start_of
from feed.dry_matter import TAKEN, Known
from feed.heads import Heads
from feed.models import Feeding, FeedLot, ForageBatch
from feed.ration import Offered

GRASS = "grass"
HUNDRED = Decimal(100)


@dataclass(frozen=True, kw_only=True)
class Portion:
    """What one group got of one feed at one moment, or on one day when several are summed.

    ``offered`` is empty when the dry matter is not known, and two feeds when only a part of it grew
    on own land. ``known``: how the dry matter is known.
    """

    group: int
    day: date
    at: datetime
    kg: Decimal
    thing: ForageBatch | FeedLot
    known: Known | None
    offered: tuple[Offered, ...]

    @property
    def is_grass(self) -> bool:
        return isinstance(self.thing, ForageBatch)

    @property
    def assumed(self) -> str:
        """The words for a dry matter that was taken from another load; "" for its own."""
        if self.known is None or self.known.how != TAKEN:
            return ""
        return f"{self.thing}: {self.known.percent} %, {self.known.words(self.thing.happened_at)}"


class Feeds:
    """The loads and feed lots with these keys, and their dry matter. Six statements at most."""

    def __init__(self, batches: Iterable[int], lots: Iterable[int]) -> None:
        loads = ForageBatch.objects.filter(pk__in=set(batches)).select_related("field")
        stored = FeedLot.objects.filter(pk__in=set(lots)).select_related("field")
        self.batches = {batch.pk: batch for batch in loads}
        self.lots = {lot.pk: lot for lot in stored}
        self.of_batches = dry_matter.of_batches(self.batches.values())
        self.of_lots = dry_matter.of_lots(self.lots.values()) if self.lots else {}

    def portion(
        self,
        row: tuple[int, int | None, int | None, Decimal, date, datetime],
        cows: int | None = None,
    ) -> Portion:
        """A portion of (group, load, feed lot, kg, day, moment)."""
        group, batch, lot, kg, day, at = row
        thing: ForageBatch | FeedLot
        if batch is not None:
            thing, known = self.batches[batch], self.of_batches.get(batch)
        else:
            assert lot is not None
            thing, known = self.lots[lot], self.of_lots.get(lot)
        offered = () if known is None else tuple(pieces(thing, kg, known.percent, cows))
        return Portion(
            group=group, day=day, at=at, kg=kg, thing=thing, known=known, offered=offered
        )


def pieces(
    thing: ForageBatch | FeedLot, kg: Decimal, percent: Decimal, cows: int | None
) -> list[Offered]:
    """A feed as what grew on own land and what did not; one of the two as a rule."""
    if isinstance(thing, ForageBatch):
        kind, own = GRASS, HUNDRED if thing.field.own else Decimal(0)
        district = thing.field.in_district
    else:
        kind, own, district = thing.kind, thing.grown_here, thing.in_district
    here = kg * own / HUNDRED
    return [
        Offered(kind, part, percent, own=is_own, cows=cows, district=district)
        for part, is_own in ((here, True), (kg - here, False))
        if part
    ]


def portions(first: date, last: date) -> list[Portion]:
    """Every standing feeding of the days first to last, with heads at its hour. In order."""
    start, end = start_of(first), start_of(last + timedelta(days=1))
    zone = ZoneInfo(settings.TIME_ZONE)
    rows = list(
        Feeding.objects.standing()
        .filter(happened_at__gte=start, happened_at__lt=end)
        .order_by("happened_at", "pk")
        .values_list("group", "batch", "feed_lot", "kg", "happened_at")
    )
    feeds = feeds_of(rows)
    heads = Heads({row[0] for row in rows}, start, end)
    return [
        feeds.portion((group, batch, lot, kg, at.astimezone(zone).date(), at), heads.at(group, at))
        for group, batch, lot, kg, at in rows
    ]


def daily(first: date, last: date) -> list[Portion]:
    """The same for long spans: one portion for each group, day and feed, without heads."""
    start, end = start_of(first), start_of(last + timedelta(days=1))
    rows = list(
        Feeding.objects.standing()
        .filter(happened_at__gte=start, happened_at__lt=end)
        .order_by()
        .values_list("group", "batch", "feed_lot")
        .annotate(sum=Sum("kg"), day=TruncDate("happened_at", tzinfo=ZoneInfo(settings.TIME_ZONE)))
    )
    feeds = feeds_of(rows)
    starts = {day: start_of(day) for day in {row[4] for row in rows}}
    return [
        feeds.portion((group, batch, lot, kg, day, starts[day]))
        for group, batch, lot, kg, day in rows
    ]


def feeds_of(rows: list[Any]) -> Feeds:
    """The feeds of rows that have a load second and a feed lot third."""
    return Feeds((row[1] for row in rows if row[1]), (row[2] for row in rows if row[2]))
