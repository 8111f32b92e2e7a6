"""Who was read at a milking, and what she gave at the last ones: for a cow nobody can name.

An app that has meters registers its readings in its own ``seen.py``; without one nobody was read.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Protocol

from herd.models import Group


@dataclass(frozen=True, slots=True)
class Seen:
    """The animals (ids) a meter has read at a milking; ``milking`` in words, "" without one."""

    milking: str = ""
    animals: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Milked:
    """What a cow gave at a milking that began at a moment."""

    at: datetime
    kg: Decimal


class Meters(Protocol):
    """What is asked of whoever has meters."""

    def seen(self, group: Group, at: datetime) -> Seen:
        """Who was read at the milking of a group that was about a moment."""

    def last(self, animals: Collection[int], at: datetime) -> dict[int, list[Milked]]:
        """The last milkings of animals (ids) by a moment, the newest first."""

    def of_day(self, animals: Collection[int], at: datetime) -> dict[int, Milked]:
        """The milk of the 24 hours up to the last milking of each animal (ids) by a moment.

        ``Milked.at`` is when that milking began. Of an animal with two milkings in that time at
        least: one alone tells nothing of a day.
        """


class NoMeters:
    """An estate where nothing is metered."""

    def seen(self, group: Group, at: datetime) -> Seen:
        return Seen()

    def last(self, animals: Collection[int], at: datetime) -> dict[int, list[Milked]]:
        return {}

    def of_day(self, animals: Collection[int], at: datetime) -> dict[int, Milked]:
        return {}


_meters: list[Meters] = [NoMeters()]


def register(meters: Meters) -> None:
    """Ask these meters from now on."""
    _meters[:] = [meters]


def meters() -> Meters:
    """Whoever has meters."""
    return _meters[0]
