"""The window of each load from what the book holds: rules, weather, probes, the heap it lies on."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from decimal import Decimal

from django.db.models import Q

from config.days import estate_zone, local_day, start_of
from feed import window
from feed.models import AirHour, ClearanceRule, ForageBatch, HeapCheck, WindowRule
from feed.window import AnyRule, Grass, Reading, Window

LIMITS = ("first_share", "heap_over_air", "heap_top", "valid_from")
BAND = ("from_temperature", "hours", "wet_factor", "extension_share", *LIMITS)
CLEARANCE = ("clear_by", "instead", *LIMITS)


@dataclass(frozen=True, kw_only=True)
class Book:
    """What the windows of some loads are computed from. Five statements, however many loads.

    ``heaps``: by load, every standing load on its heap, itself included. ``air``: by load, the
    day's highest in °C as written on it, else of the hourly weather, None when neither knows it.
    """

    rules: list[AnyRule]
    readings: dict[int, list[Reading]]
    air: dict[int, Decimal | None]
    heaps: dict[int, list[ForageBatch]] = field(default_factory=dict)

    def grass(self, batch: ForageBatch) -> Grass:
        """A load as its window sees it."""
        return Grass(
            cut_at=batch.happened_at,
            cut_on=local_day(batch.happened_at),
            written=batch.received_at,
            air_temperature=self.air.get(batch.pk),
            shortened=batch.wet or batch.chopped,
            zone=estate_zone(),
        )

    def window(self, batch: ForageBatch, more: Sequence[Reading] = ()) -> Window | None:
        """The window of a load: the oldest part of its heap counts. ``more``: further readings."""
        heap = self.heaps.get(batch.pk) or [batch]
        readings = [reading for one in heap for reading in self.readings.get(one.pk, ())]
        return self.with_readings(batch, [*readings, *more])

    def with_readings(self, batch: ForageBatch, readings: Sequence[Reading]) -> Window | None:
        """The window of a load with these readings alone."""
        heap = self.heaps.get(batch.pk) or [batch]
        return window.mixed_window(
            window.window(self.grass(one), self.rules, readings) for one in heap
        )


def book_of(batches: Iterable[ForageBatch]) -> Book:
    """What the windows of these loads, and of the heaps they lie on, are computed from."""
    asked = {batch.pk: batch for batch in batches}
    heaps = heaps_of(asked)
    every = {one.pk: one for heap in heaps.values() for one in heap} | asked
    return Book(
        rules=window_rules(),
        readings=readings_of(list(every)),
        air=air_of(every.values()),
        heaps=heaps,
    )


def root_of(batch: ForageBatch) -> int:
    """The load whose heap a load lies on: the one it was tipped onto, else itself."""
    return batch.onto_id or batch.pk


def heaps_of(asked: dict[int, ForageBatch]) -> dict[int, list[ForageBatch]]:
    """By load, the standing loads on its heap and itself; a struck one lies alone."""
    roots = {root_of(batch) for batch in asked.values()}
    heaps: dict[int, list[ForageBatch]] = defaultdict(list)
    for one in ForageBatch.objects.standing().filter(Q(pk__in=roots) | Q(onto__in=roots)):
        heaps[root_of(one)].append(one)
    return {
        pk: [batch] if batch.is_struck else heaps[root_of(batch)] or [batch]
        for pk, batch in asked.items()
    }


def window_rules() -> list[AnyRule]:
    """The estate's window rules, struck ones too: a load may have been cut under one."""
    bands = WindowRule.objects.values(*BAND, "received_at", "struck_at")
    hours = ClearanceRule.objects.values(*CLEARANCE, "received_at", "struck_at")
    return [
        *(
            window.Rule(written=row.pop("received_at"), struck=row.pop("struck_at"), **row)
            for row in bands
        ),
        *(
            window.Clearance(written=row.pop("received_at"), struck=row.pop("struck_at"), **row)
            for row in hours
        ),
    ]


def readings_of(pks: list[int]) -> dict[int, list[Reading]]:
    """The standing heap checks of loads, by load."""
    found: dict[int, list[Reading]] = defaultdict(list)
    for check in HeapCheck.objects.standing().filter(batch__in=pks):
        found[check.batch_id].append(reading_of(check))
    return found


def reading_of(check: HeapCheck) -> Reading:
    """A heap check as the window sees it."""
    return Reading(
        at=check.happened_at,
        heap=check.heap,
        air=check.air,
        warm_to_hand=check.warm_to_hand,
        extends=check.extends,
    )


def air_of(batches: Iterable[ForageBatch]) -> dict[int, Decimal | None]:
    """By load, the highest air temperature of its day in °C; None when nobody knows it."""
    batches = list(batches)
    blank = [batch for batch in batches if batch.air_temperature is None]
    days = {local_day(batch.happened_at) for batch in blank}
    hours = hours_between(start_of(min(days)), start_of(max(days) + DAY)) if days else {}
    highest = {
        day: window.highest_of_day(start_of(day), start_of(day + DAY), hours) for day in days
    }
    return {
        batch.pk: batch.air_temperature
        if batch.air_temperature is not None
        else highest[local_day(batch.happened_at)]
        for batch in batches
    }


DAY = timedelta(days=1)


def hours_between(start: datetime, end: datetime) -> dict[datetime, Decimal]:
    """The air by the full hour in UTC; what was measured beats what was forecast."""
    rows = AirHour.objects.standing().filter(hour__gte=start, hour__lt=end)
    ordered = rows.order_by("-forecast").values_list("hour", "celsius")
    return {hour.astimezone(UTC): celsius for hour, celsius in ordered}
