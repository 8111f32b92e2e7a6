"""What was thrown away between two days, and what it cost by the prices in force. Reads only."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Sum, Value

from config.days import local_day, start_of
from feed.fed import GRASS, Feeds
from feed.models import Discard, FeedFigure, ForageBatch, Refusal
from feed.services.figures import figures_on

# The figure that prices a tonne of dry matter of each kind of feed.
PRICES = {GRASS: "grass_cost", "hay": "hay_cost", "meal": "meal_cost"}
TAKEN_OFF = "discard_cost"


@dataclass(frozen=True, kw_only=True)
class Thrown:
    """What was thrown away of one thing at one time. ``cost`` in EUR; None: no price, or no DM."""

    discard: Discard
    what: str
    dry_matter_kg: Decimal | None
    cost: Decimal | None


@dataclass(frozen=True, kw_only=True)
class Waste:
    """What was thrown away in a span, beside what was cut.

    ``refused_kg``: left by the groups and cleared, fresh weight; it is not priced, for the group
    had it before it. ``missing``: the names of prices that nobody has set.
    """

    first: date
    last: date
    thrown: list[Thrown]
    cut_kg: Decimal
    refused_kg: Decimal
    missing: list[str]

    @property
    def kg(self) -> Decimal:
        return sum((one.discard.kg for one in self.thrown), Decimal(0))

    @property
    def grass_kg(self) -> Decimal:
        """Fresh grass thrown away."""
        return sum((one.discard.kg for one in self.thrown if one.what == GRASS), Decimal(0))

    @property
    def percent_of_cut(self) -> Decimal | None:
        """Grass thrown away in per cent of what was cut; None when nothing was cut."""
        return self.grass_kg / self.cut_kg * 100 if self.cut_kg else None

    @property
    def cost(self) -> Decimal | None:
        """EUR of everything that has a price; None when nothing has."""
        priced = [one.cost for one in self.thrown if one.cost is not None]
        return sum(priced, Decimal(0)) if priced else None

    @property
    def unpriced(self) -> int:
        """How many of them have no price."""
        return sum(one.cost is None for one in self.thrown)


def waste(first: date, last: date) -> Waste:
    """What was thrown away on the days first to last. Ten statements at most."""
    span = {
        "happened_at__gte": start_of(first),
        "happened_at__lt": start_of(last + timedelta(days=1)),
    }
    rows = Discard.objects.standing().filter(**span).select_related("batch__field", "feed_lot")
    discards = list(rows.order_by("happened_at", "pk"))
    prices = figures_on(last, *PRICES.values(), TAKEN_OFF)
    kg_of = kilos_in(span)
    return Waste(
        first=first,
        last=last,
        thrown=thrown_of(discards, prices),
        cut_kg=kg_of["cut"],
        refused_kg=kg_of["refused"],
        missing=sorted(set(PRICES.values()) - set(prices)),
    )


def kilos_in(span: Mapping[str, Any]) -> dict[str, Decimal]:
    """What was cut and what was refused in a span, in one statement; 0 when nothing was."""
    cut = ForageBatch.objects.standing().filter(**span).order_by()
    refused = Refusal.objects.standing().filter(**span).order_by()
    summed = [
        rows.values(name=Value(name)).annotate(sum=Sum("kg")).values_list("name", "sum")
        for name, rows in (("cut", cut), ("refused", refused))
    ]
    rows = summed[0].union(summed[1], all=True)
    return {name: kg or Decimal(0) for name, kg in rows}


def thrown_of(discards: list[Discard], prices: dict[str, FeedFigure]) -> list[Thrown]:
    """Each discard with its dry matter and its cost."""
    feeds = Feeds(
        (one.batch_id for one in discards if one.batch_id),
        (one.feed_lot_id for one in discards if one.feed_lot_id),
    )
    return [thrown(one, feeds, prices) for one in discards]


def thrown(discard: Discard, feeds: Feeds, prices: dict[str, FeedFigure]) -> Thrown:
    """One discard: growing it by its dry matter, and taking it off by its weight."""
    row = (0, discard.batch_id, discard.feed_lot_id, discard.kg, local_day(discard.happened_at))
    portion = feeds.portion((*row, discard.happened_at))
    what = GRASS if discard.batch_id else feeds.lots[discard.feed_lot_id].kind
    dry = sum((feed.dry_matter_kg for feed in portion.offered), Decimal(0))
    price, off = prices.get(PRICES.get(what, "")), prices.get(TAKEN_OFF)
    cost = None
    if price is not None and portion.known is not None:
        cost = dry * price.value / 1000
        cost += discard.kg * off.value / 1000 if off else 0
    known = None if portion.known is None else dry
    return Thrown(discard=discard, what=what, dry_matter_kg=known, cost=cost)
