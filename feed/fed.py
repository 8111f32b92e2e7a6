"""What was put before the groups between two days, with its dry matter and where it grew."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import models
from django.db.models.functions import TruncDate

from config.days import estate_zone, start_of
from config.saying import N_
from feed import dry_matter
from feed.dry_matter import TAKEN, Known
from feed.heads import Heads
from feed.models import Feeding, FeedLot, ForageBatch
from feed.ration import Offered

GRASS = N_("grass")
HUNDRED = Decimal(100)
OF_LOAD = (
    "happened_at",
    "dry_matter",
    "field__name",
    "field__own",
    "field__in_district",
)
# Kind of feed, whether it grew on own land, whether in the district.
Origin = tuple[str, bool, bool]


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
    def assumed(self) -> str:
        """The words for a dry matter that was taken from another load; "" for its own."""
        if self.known is None or self.known.how != TAKEN:
            return ""
        return f"{self.thing}: {self.known.percent} %, {self.known.words(self.thing.happened_at)}"


class Feeds:
    """The loads and feed lots with these keys, and their dry matter. Six statements at most."""

    def __init__(self, batches: Iterable[int], lots: Iterable[int]) -> None:
        loads = ForageBatch.objects.filter(pk__in=set(batches)).select_related("field")
        # Thousands in a year: only what a portion asks of its load.
        loads = loads.only(*OF_LOAD)
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
    zone = estate_zone()
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


@dataclass
class Sum:
    """Kilos of feeds of one kind and origin, and the dry matter in them."""

    kg: Decimal = Decimal(0)
    dry: Decimal = Decimal(0)

    def add(self, kg: Decimal, dry: Decimal) -> None:
        self.kg += kg
        self.dry += dry


@dataclass
class Fed:
    """What was fed in a long span: sums by (group, day), in them by kind and origin.

    ``unmeasured_kg``: fed without a dry matter, in no sum. ``assumed_kg``: fed with the dry matter
    of another load.
    """

    sums: dict[tuple[int, date], dict[Origin, Sum]] = field(default_factory=dict)
    unmeasured_kg: Decimal = Decimal(0)
    assumed_kg: Decimal = Decimal(0)


def daily(first: date, last: date) -> Fed:
    """The feed of a long span, summed by group and day, without heads."""
    start, end = start_of(first), start_of(last + timedelta(days=1))
    day_of = TruncDate("happened_at", tzinfo=estate_zone())
    rows = list(
        Feeding.objects.standing()
        .filter(happened_at__gte=start, happened_at__lt=end)
        .order_by()
        .values_list("group", "batch", "feed_lot")
        .annotate(sum=models.Sum("kg"), day=day_of)
    )
    feeds, found = feeds_of(rows), Fed()
    # Thousands of rows are of the same feeds: what a kilo of each is, is worked out once.
    one_kilo = {
        (batch, lot): feeds.portion((0, batch, lot, Decimal(1), first, start))
        for batch, lot in {(row[1], row[2]) for row in rows}
    }
    for group, batch, lot, kg, day in rows:
        kilo = one_kilo[batch, lot]
        if kilo.known is None:
            found.unmeasured_kg += kg
            continue
        if kilo.known.how == TAKEN:
            found.assumed_kg += kg
        sums = found.sums.setdefault((group, day), {})
        for feed in kilo.offered:
            origin = feed.kind, feed.own, feed.district
            if origin not in sums:
                sums[origin] = Sum()
            sums[origin].add(kg * feed.kg, kg * feed.dry_matter_kg)
    return found


def feeds_of(rows: list[Any]) -> Feeds:
    """The feeds of rows that have a load second and a feed lot third."""
    return Feeds((row[1] for row in rows if row[1]), (row[2] for row in rows if row[2]))
