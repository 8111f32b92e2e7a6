"""What a shelf of medicine should hold: in, less what was used, broken, returned and destroyed.

Pure arithmetic on one batch of one medicine; moments are aware, quantities are in the unit of a
dose. A count says what is there: from then on it counts from the number counted, and what was
expected more or less is the difference. Quantities are never lost: received, less everything that
left, plus the differences of the counts, is what the shelf should hold.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import NamedTuple

RECEIVED, COUNTED = "received", "counted"
GIVEN, DRIED_OFF = "given", "dried off"
USED, BROKEN, RETURNED, DESTROYED = "used", "broken", "returned", "destroyed"
# What takes something off the shelf; the first two are facts of the cow, not of the shelf.
LEAVING = (GIVEN, DRIED_OFF, USED, BROKEN, RETURNED, DESTROYED)
NOTHING = Decimal(0)
# At one moment: what came in, then what left, then the count that was made of it.
_PLACE = {RECEIVED: 0, **dict.fromkeys(LEAVING, 1), COUNTED: 2}


class Event(NamedTuple):
    """Something that changed a batch, or counted it. ``key`` tells events of one moment apart."""

    at: datetime
    what: str
    quantity: Decimal
    expires_on: date | None = None
    key: str = ""


@dataclass
class Shelf:
    """One batch: totals by what happened, the differences of its counts, and what is there."""

    totals: dict[str, Decimal] = field(default_factory=dict)
    difference: Decimal = NOTHING
    on_shelf: Decimal = NOTHING
    expires_on: date | None = None
    counted_at: datetime | None = None
    counted: Decimal | None = None
    last_difference: Decimal | None = None
    first_seen: datetime | None = None

    def total(self, *whats: str) -> Decimal:
        """How much was received, given, broken … in all."""
        return sum((self.totals.get(what, NOTHING) for what in whats), NOTHING)

    @property
    def known(self) -> bool:
        """Whether the batch ever came in, or was ever counted; else nobody knows its beginning."""
        return RECEIVED in self.totals or self.counted_at is not None

    def take(self, event: Event) -> None:
        """Let an event happen; events come in their order."""
        self.first_seen = self.first_seen or event.at
        if event.what == COUNTED:
            self.last_difference = event.quantity - self.on_shelf
            self.difference += self.last_difference
            self.on_shelf = self.counted = event.quantity
            self.counted_at = event.at
        else:
            self.totals[event.what] = self.totals.get(event.what, NOTHING) + event.quantity
            self.on_shelf += event.quantity if event.what == RECEIVED else -event.quantity
        # The earliest date ever written of a batch is the careful one.
        if event.expires_on:
            self.expires_on = min(self.expires_on or event.expires_on, event.expires_on)


def in_order(events: Iterable[Event]) -> list[Event]:
    """Events as they happened, whatever the order in which they were written."""
    return sorted(events, key=lambda event: (event.at, _PLACE[event.what], event.key))


def shelf(events: Iterable[Event], at: datetime | None = None) -> Shelf:
    """What the shelf should hold at a moment, that moment included; None: after all events."""
    found = Shelf()
    for event in in_order(events):
        if at is None or event.at <= at:
            found.take(event)
    return found


def room(events: Sequence[Event], at: datetime) -> Decimal:
    """How much may leave at a moment so that neither then nor later less than nothing is there.

    Later ends with the next count: that says what was there whatever was written before.
    """
    ordered = in_order(events)
    before = [event for event in ordered if event.at <= at and not is_count_at(event, at)]
    found = Shelf()
    for event in before:
        found.take(event)
    least = found.on_shelf
    for event in ordered[len(before) :]:
        if event.what == COUNTED:
            break
        found.take(event)
        least = min(least, found.on_shelf)
    return max(least, NOTHING)


def is_count_at(event: Event, at: datetime) -> bool:
    """Whether it is a count of that very moment, which is made after everything else."""
    return event.what == COUNTED and event.at == at


def batch_key(batch: str) -> str:
    """A batch number as it is compared: people write it with and without spaces and capitals."""
    return "".join(batch.split()).casefold()
