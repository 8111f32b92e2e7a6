"""The size and the clock of the demo estate. Everything here is invented."""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

DAYS = 35
SEED = 20260602
PASSWORD_HINT = "larkfold"
HEADS = {
    1: 85,
    2: 160,
    3: 156,
    4: 156,
    5: 139,
    6: 139,
    7: 139,
    8: 139,
    9: 186,
    10: 186,
    11: 185,
    12: 20,
    13: 230,
    14: 80,
}
LINES = {"A": (1, 2, 3, 4), "B": (5, 6, 7, 8), "C": (9, 10, 11), "W": (12,)}
# Groups of tank C have no meters: their cows are known by the group they stood in.
METERED = (1, 2, 3, 4, 5, 6, 7, 8, 12)
STARTS = {
    1: "04:00",
    2: "04:40",
    3: "04:10",
    4: "05:20",
    5: "04:30",
    6: "05:00",
    7: "05:15",
    8: "05:40",
    9: "04:20",
    10: "04:55",
    11: "05:25",
    12: "06:10",
}
EVENING_LATER = timedelta(hours=12)
MILKING_LASTS = timedelta(minutes=35)
VATS_PER_TANK = 11
BRINE_DAYS = 20
# A make of long ago, so that some wheels are old enough to have left the estate.
OLD_MAKE_DAYS = 400
# Earlier ones, so that there are ripe wheels to tap and to sell; the last is two years old.
OLDER_MAKES = (414, 431, 735)


@dataclass
class Estate:
    """One run of the scenario: its moment, its dice, and what was made so far.

    ``now``: aware moment at which the story stands. ``zone``: the estate's time zone.
    """

    now: datetime
    zone: ZoneInfo
    seed: int = SEED
    days: int = DAYS
    dice: Random = field(init=False)
    people: dict[str, Any] = field(default_factory=dict)
    holdings: dict[str, Any] = field(default_factory=dict)
    groups: dict[int, Any] = field(default_factory=dict)
    herd: dict[int, list[Any]] = field(default_factory=dict)
    levels: dict[int, float] = field(default_factory=dict)
    medicines: dict[str, Any] = field(default_factory=dict)
    kept_out: dict[int, list[tuple[datetime, datetime]]] = field(default_factory=dict)
    in_milk_from: dict[int, datetime] = field(default_factory=dict)
    tanks: dict[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.dice = Random(self.seed)

    @property
    def today(self) -> date:
        return self.now.astimezone(self.zone).date()

    @property
    def first_day(self) -> date:
        return self.today - timedelta(days=self.days - 1)

    def all_days(self) -> list[date]:
        """The days of the story, oldest first, today included."""
        return [self.first_day + timedelta(days=number) for number in range(self.days)]

    def at(self, day: date, clock: str | time) -> datetime:
        """A moment of a day on the estate's clock, in UTC."""
        wall = time.fromisoformat(clock) if isinstance(clock, str) else clock
        return datetime.combine(day, wall, tzinfo=self.zone).astimezone(UTC)

    def is_out(self, animal_id: int, at: datetime) -> bool:
        """Whether the story keeps this animal's milk out at that moment."""
        return any(start <= at < end for start, end in self.kept_out.get(animal_id, ()))

    def keep_out(self, animal_id: int, start: datetime, end: datetime) -> None:
        self.kept_out.setdefault(animal_id, []).append((start, end))
