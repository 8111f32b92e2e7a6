"""The hay that replaces grass which may not be fed: as much dry matter, of a lot that has it."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from feed.dry_matter import of_batches, of_lots
from feed.models import FeedLot, ForageBatch


@dataclass(frozen=True, kw_only=True)
class Instead:
    """Hay for grass. Masses in kg; ``lot``: the one with most left that has a dry matter."""

    dry_matter_kg: Decimal
    lot: FeedLot
    kg: Decimal
    enough: bool


def hay_instead(load: ForageBatch, grass_kg: Decimal, at: datetime) -> Instead | None:
    """The hay with as much dry matter as some grass; None when either dry matter is unknown."""
    grass = of_batches([load]).get(load.pk)
    lots = [
        lot
        for lot in FeedLot.objects.happened_by(at).filter(kind=FeedLot.Kind.HAY).with_left(at)
        if lot.left_kg > 0
    ]
    known = of_lots(lots)
    lots = sorted((lot for lot in lots if lot.pk in known), key=lambda lot: -lot.left_kg)
    if grass is None or not lots or grass_kg <= 0:
        return None
    dry = grass_kg * grass.percent / 100
    kg = dry / known[lots[0].pk].percent * 100
    return Instead(dry_matter_kg=dry, lot=lots[0], kg=kg, enough=kg <= lots[0].left_kg)
