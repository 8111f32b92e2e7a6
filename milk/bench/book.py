"""What every part of the invented years shares: one run, its dice, and how rows are written."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from random import Random
from typing import Any
from uuid import UUID

from django.db import models

from config.copying import copy_rows

SEED = 20260610
COWS, GROUPS = 2000, 14
# A herd moves on to the next group every so many days, at noon.
STAY_DAYS = 57
# When the first group is milked, and how long after it the next.
MORNING, EVENING = timedelta(hours=2), timedelta(hours=15)
BETWEEN_GROUPS = timedelta(minutes=12)
# A vat of 2,000 cows' milk takes so many kg of the evening's and as many of the morning's.
FROM_EACH = Decimal(550)
GRAM = Decimal("0.001")
Row = dict[str, Any]


@dataclass
class Years:
    """One run. ``first``: midnight (UTC) of the first day; ``say``: told each step as it ends."""

    first: datetime
    days: int
    seed: int = SEED
    cows: int = COWS
    say: Callable[[str], None] = lambda words: None
    dice: Random = field(init=False)
    by: int = 0
    animals: list[int] = field(default_factory=list)
    groups: list[int] = field(default_factory=list)
    tanks: dict[str, int] = field(default_factory=dict)
    out: dict[int, list[tuple[datetime, datetime]]] = field(default_factory=dict)
    carried: set[int] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.dice = Random(self.seed)

    @property
    def from_each(self) -> Decimal:
        return (FROM_EACH * self.cows / COWS).quantize(GRAM)

    def day(self, number: int) -> datetime:
        return self.first + timedelta(days=number)

    def group_of(self, cow: int, day: int) -> int:
        """The number of the group a cow (by her place) is milked in on a day."""
        return (cow + day // STAY_DAYS) % GROUPS + 1

    def fact(self, at: datetime, written: timedelta = timedelta(minutes=4), **columns: Any) -> Row:
        """The columns of an entry that happened at a moment."""
        return {
            "uuid": UUID(int=self.dice.getrandbits(128), version=4),
            "happened_at": at,
            "written_at": at + written,
            "received_at": at + written,
            "zone_offset": 0,
            "by_id": self.by,
            "device": "bench",
            **columns,
        }


def copied(model: type[models.Model], rows: Iterable[Mapping[str, Any]]) -> list[int]:
    """Write rows and give their keys, in the order written."""
    newest = model._base_manager.order_by("-pk").values_list("pk", flat=True).first() or 0
    copy_rows(model, rows)
    return list(
        model._base_manager.filter(pk__gt=newest).order_by("pk").values_list("pk", flat=True)
    )
