"""Back from a wheel, a vat or a lot to the milk, the animals, their courses and their feed.

Reads only. The statements stand in ``milk.trace_sql``; this module puts their rows together. kg are
floats of kg in the thing that was asked about: a wheel has its part of the vat's milk by weight.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from milk.blend import mixtures
from milk.trace_parts import (
    CowAt,
    CowIn,
    FedTo,
    FeedIn,
    LotIn,
    MilkingIn,
    Period,
    WheelIn,
    animal_name,
    hours_late,
)
from milk.trace_sql import (
    ANIMALS_AND_COUNTS,
    COWS_OF_LOTS,
    FEEDINGS_BEFORE,
    FEEDS,
    METER_MOMENTS,
    MILKINGS_OF_LOTS,
    OLDER_COUNTS,
    PERIODS,
    PRESENT,
    WHEELS_OF_VATS,
    LotRow,
    Reader,
)

# Counts are read this far back in one go; older ones of animals without are read singly. How far
# changes the speed, never the answer.
COUNTS_IN_ONE_READ = timedelta(days=62)
# Seconds after the start are a smallint: no cow stands at the meter later than this.
LONGEST_MILKING = timedelta(seconds=32_767)


@dataclass(frozen=True, kw_only=True)
class Found:
    """Everything above a thing; ``kg`` is the milk in it, None when the book does not say."""

    kg: float
    lots: list[LotIn]
    milkings: list[MilkingIn]
    animals: list[CowIn]
    feeds: list[FeedIn]
    wheels: list[WheelIn]

    @property
    def withheld(self) -> list[tuple[CowIn, CowAt, Period]]:
        """(animal, milking, period) of milk that came from inside a withdrawal period."""
        return [
            (cow, at, period)
            for cow in self.animals
            for at in cow.milkings
            for period in at.withheld
        ]

    @property
    def late_feeds(self) -> list[FeedIn]:
        """Loads fed after their deadline."""
        return [feed for feed in self.feeds if feed.hours_late]


@dataclass(frozen=True)
class Part:
    """A group's milking in one lot, kg of the lot's own milk."""

    lot: int
    milking: int
    kg: float


def read_back(
    reader: Reader,
    *,
    vat: int | None = None,
    lot: int | None = None,
    wheel: int | None = None,
    before: timedelta,
) -> Found:
    """Everything above a vat (or one wheel of it), or a lot. ``before``: how long feed is followed."""
    wheels = wheels_of(reader, [vat]) if vat else []
    fraction = wheel_fraction(wheels, wheel) if wheel else 1.0
    rows = reader.lots_above([lot] if lot else [], vat)
    weights = {row.pk: (row.in_vat or 0.0) * fraction for row in rows}
    if lot:
        weights = kg_of_mixture(rows, lot)
    parts, milkings = milkings_of(reader, rows)
    cows = cows_of(reader, rows, parts, milkings, weights)
    found = Found(
        kg=sum(weights.values()),
        lots=lots_in(rows, weights),
        milkings=milkings_in(parts, milkings, rows, weights),
        animals=animals_in(reader, cows, milkings, rows),
        feeds=feeds_of(reader, milkings, before),
        wheels=wheels,
    )
    return found


def wheels_of(reader: Reader, vats: Iterable[int]) -> list[WheelIn]:
    """The standing wheels of vats."""
    return [WheelIn(*row) for row in reader.rows(WHEELS_OF_VATS, vats=sorted(vats))]


def wheel_fraction(wheels: Sequence[WheelIn], wheel: int) -> float:
    """One wheel's part of its vat's milk: by weight when all were weighed, else equal parts."""
    weights = {found.pk: found.kg for found in wheels}
    own = weights.get(wheel)
    known = [kg for kg in weights.values() if kg is not None]
    if own is not None and len(known) == len(weights) and sum(known) > 0:
        return own / sum(known)
    return 1 / max(len(weights), 1)


def kg_of_mixture(rows: Sequence[LotRow], lot: int) -> dict[int, float]:
    """kg of each lot's own milk in the whole mixture of one lot."""
    own = {row.pk: round(row.kg * 1000) for row in rows}
    edges = {
        row.pk: {parent: round(kg * 1000) for parent, kg in row.edges} for row in rows if row.edges
    }
    shares = mixtures(own, edges)[lot]
    whole = next(row.whole for row in rows if row.pk == lot)
    total = sum(shares.values()) or 1
    return {pk: whole * (shares.get(pk, 0) / total) for pk in own}


def lots_in(rows: Sequence[LotRow], weights: dict[int, float]) -> list[LotIn]:
    """The lots with their kg in the thing, in order of opening; void ones are left out."""
    codes = {row.pk: row.code for row in rows}
    total = sum(weights.values())
    into: dict[int, list[str]] = defaultdict(list)
    for row in rows:
        for parent, _ in row.edges:
            into[parent].append(row.code)
    return [
        LotIn(
            row=row,
            kg=weights[row.pk],
            share=weights[row.pk] / total if total else 0.0,
            parents=[(codes[parent], kg) for parent, kg in row.edges],
            carried_into=into[row.pk],
        )
        for row in rows
        if not row.void
    ]


def milkings_of(
    reader: Reader, rows: Sequence[LotRow]
) -> tuple[list[Part], dict[int, MilkingIn]]:
    """The parts of the lots, and the milkings they are of."""
    parts: list[Part] = []
    milkings: dict[int, MilkingIn] = {}
    for lot, kg, *milking in reader.rows(MILKINGS_OF_LOTS, lots=[row.pk for row in rows]):
        found = MilkingIn(*milking)
        milkings.setdefault(found.pk, found)
        parts.append(Part(lot, found.pk, kg))
    return parts, milkings


def milkings_in(
    parts: Iterable[Part],
    milkings: dict[int, MilkingIn],
    rows: Iterable[LotRow],
    weights: dict[int, float],
) -> list[MilkingIn]:
    """The milkings with the lots they are in and their kg in the thing."""
    lots = {row.pk: row for row in rows}
    for part in parts:
        lot = lots[part.lot]
        kg = scaled(part.kg, lot, weights)
        milkings[part.milking].lots.append((lot.code, kg))
    return list(milkings.values())


def scaled(kg: float, lot: LotRow, weights: dict[int, float]) -> float | None:
    """kg of a lot's own milk as kg of the thing; None when the lot's weight is not known."""
    return kg * weights[lot.pk] / lot.kg if lot.kg else None


@dataclass(frozen=True)
class Cow:
    """An animal's milk in a lot; ``grams`` None: no meter weighed it."""

    lot: int
    milking: int
    animal: int
    kg: float | None
    weighed: bool


def cows_of(
    reader: Reader,
    rows: Sequence[LotRow],
    parts: Sequence[Part],
    milkings: dict[int, MilkingIn],
    weights: dict[int, float],
) -> list[Cow]:
    """Every animal in the lots: by meter row, or because she stood in the group that was milked.

    What the meters did not weigh is shared out equally among the animals without a weight.
    """
    lots = {row.pk: row for row in rows}
    inside: dict[tuple[int, int], dict[int, int | None]] = defaultdict(dict)
    for lot, milking, animal, grams in reader.rows(COWS_OF_LOTS, lots=list(lots)):
        if milking in milkings:
            inside[lot, milking][animal] = grams
    stood = [part for part in parts if without_meters(part, milkings, inside)]
    for lot, milking, animal in present(reader, stood, milkings):
        inside[lot, milking].setdefault(animal, None)
    kilos = {(part.lot, part.milking): part.kg for part in parts}
    found: list[Cow] = []
    for (lot, milking), animals in inside.items():
        grams_known = [grams for grams in animals.values() if grams is not None]
        rest = max(kilos.get((lot, milking), 0.0) - sum(grams_known) / 1000, 0.0)
        each = rest / max(len(animals) - len(grams_known), 1)
        for animal, grams in animals.items():
            kg = each if grams is None else grams / 1000
            found.append(
                Cow(lot, milking, animal, scaled(kg, lots[lot], weights), grams is not None)
            )
    return found


def without_meters(
    part: Part,
    milkings: dict[int, MilkingIn],
    inside: dict[tuple[int, int], dict[int, int | None]],
) -> bool:
    """Whether the animals of a part are those that stood in the group: no meters, or no rows came."""
    return not milkings[part.milking].metered or (part.lot, part.milking) not in inside


def present(
    reader: Reader, parts: Sequence[Part], milkings: dict[int, MilkingIn]
) -> list[tuple[int, int, int]]:
    """(lot, milking, animal) of the animals that stood in the groups of these parts, kept out ones
    left out, and those whose row names another lot."""
    if not parts:
        return []
    lots: dict[int, set[int]] = defaultdict(set)
    for part in parts:
        lots[part.milking].add(part.lot)
    asked = [milkings[pk] for pk in lots]
    rows = reader.rows(
        PRESENT,
        milkings=[milking.pk for milking in asked],
        groups=[milking.group_id for milking in asked],
        starts=[milking.started_at for milking in asked],
    )
    return [
        (lot, milking, animal)
        for milking, animal, known in rows
        for lot in lots[milking]
        if known in (None, lot)
    ]


def animals_in(
    reader: Reader, cows: Sequence[Cow], milkings: dict[int, MilkingIn], rows: Sequence[LotRow]
) -> list[CowIn]:
    """The animals, heaviest first, each with her milkings, periods open then and latest count."""
    if not cows:
        return []
    codes = {row.pk: row.code for row in rows}
    names, counts = names_and_counts(reader, cows, milkings)
    periods = periods_at(reader, cows, milkings)
    by_animal: dict[int, list[CowAt]] = defaultdict(list)
    for cow in cows:
        milking = milkings[cow.milking]
        by_animal[cow.animal].append(
            CowAt(
                milking=milking,
                lot=codes[cow.lot],
                kg=cow.kg,
                weighed=cow.weighed,
                count=latest(counts.get(cow.animal, ()), milking.started_at),
                withheld=periods.get((cow.animal, cow.milking), ()),
            )
        )
    found = [CowIn(pk, *names[pk], milkings=at) for pk, at in by_animal.items()]
    return sorted(found, key=lambda cow: (-(cow.kg or 0), cow.name))


Count = tuple[datetime, datetime | None, float]


def names_and_counts(
    reader: Reader, cows: Sequence[Cow], milkings: dict[int, MilkingIn]
) -> tuple[dict[int, tuple[UUID, str, str]], dict[int, list[Count]]]:
    """(uuid, name, ear tag) of every animal, and her cell counts that were the latest in between."""
    starts = [milkings[cow.milking].started_at for cow in cows]
    first, last = min(starts), max(starts)
    since = first - COUNTS_IN_ONE_READ
    names: dict[int, tuple[UUID, str, str]] = {}
    counts: dict[int, list[Count]] = {}
    animals = sorted({cow.animal for cow in cows})
    rows = reader.rows(ANIMALS_AND_COUNTS, animals=animals, since=since, first=first, last=last)
    for pk, uuid, number, tag, at, valid_to, cells in rows:
        names[pk] = (uuid, animal_name(number, tag), tag)
        if at is not None:
            counts.setdefault(pk, []).append((at, valid_to, cells))
    without = sorted(
        {
            cow.animal
            for cow, start in zip(cows, starts, strict=True)
            if latest(counts.get(cow.animal, ()), start) is None
        }
    )
    if without:
        for pk, *count in reader.rows(OLDER_COUNTS, animals=without, since=since):
            counts.setdefault(pk, []).append((count[0], count[1], count[2]))
    return names, counts


def latest(counts: Iterable[Count], at: datetime) -> Count | None:
    """The count that was the latest at a moment; None when there was none yet."""
    for count in counts:
        if count[0] <= at and (count[1] is None or at < count[1]):
            return count
    return None


def periods_at(
    reader: Reader, cows: Sequence[Cow], milkings: dict[int, MilkingIn]
) -> dict[tuple[int, int], list[Period]]:
    """By animal and milking, the withdrawal periods she was inside when she was milked.

    The moment is hers at the meter where one wrote it, else the start of the milking.
    """
    starts = [milkings[cow.milking].started_at for cow in cows]
    rows = reader.rows(
        PERIODS,
        animals=sorted({cow.animal for cow in cows}),
        first=min(starts),
        last=max(starts) + LONGEST_MILKING,
    )
    periods: dict[int, list[Period]] = defaultdict(list)
    for row in rows:
        period = Period(*row)
        periods[period.animal].append(period)
    touched = {(cow.animal, cow.milking) for cow in cows if cow.animal in periods}
    moments = meter_moments(reader, touched, periods, milkings)
    found: dict[tuple[int, int], list[Period]] = {}
    for animal, milking in touched:
        at = moments.get((animal, milking), milkings[milking].started_at)
        open_then = [period for period in periods[animal] if period.holds(at)]
        if open_then:
            found[animal, milking] = open_then
    return found


def meter_moments(
    reader: Reader,
    touched: Iterable[tuple[int, int]],
    periods: dict[int, list[Period]],
    milkings: dict[int, MilkingIn],
) -> dict[tuple[int, int], datetime]:
    """When the cow stood at the meter, read only where a period begins or ends while she might."""
    asked = [
        (animal, milking)
        for animal, milking in sorted(touched)
        if any(
            period.turns(milkings[milking].started_at, LONGEST_MILKING)
            for period in periods[animal]
        )
    ]
    if not asked:
        return {}
    rows = reader.rows(
        METER_MOMENTS,
        animals=[animal for animal, _ in asked],
        milkings=[milking for _, milking in asked],
    )
    return {
        (animal, milking): milkings[milking].started_at + timedelta(seconds=seconds or 0)
        for animal, milking, seconds in rows
    }


def feeds_of(
    reader: Reader, milkings: dict[int, MilkingIn], before: timedelta
) -> list[FeedIn]:
    """Loads and other feed given to the groups in the hours before each milking, exactly."""
    if not milkings:
        return []
    asked = list(milkings.values())
    rows = reader.rows(
        FEEDINGS_BEFORE,
        milkings=[milking.pk for milking in asked],
        groups=[milking.group_id for milking in asked],
        starts=[milking.started_at for milking in asked],
        before=before,
    )
    if not rows:
        return []
    details = feed_details(reader, rows)
    feedings: dict[int, FedTo] = {}
    fed: dict[tuple[str, int], list[FedTo]] = defaultdict(list)
    for milking, pk, at, kg, weighed, batch, feed_lot in rows:
        key = ("load", batch) if batch else ("lot", feed_lot)
        deadline = details[key].deadline
        if pk not in feedings:
            feedings[pk] = FedTo(
                milkings[milking].group, at, kg, weighed, hours_late(at, deadline), []
            )
            fed[key].append(feedings[pk])
        feedings[pk].milkings.append(milkings[milking])
    for key, feed in details.items():
        feed.fed.extend(fed[key])
    return sorted(details.values(), key=lambda feed: (-(feed.hours_late or 0), feed.fed[0].at))


def feed_details(reader: Reader, rows: Iterable[Any]) -> dict[tuple[str, int], FeedIn]:
    """The loads and feed lots of feedings, by ("load" or "lot", key)."""
    pairs = {(row[5], row[6]) for row in rows}
    told = reader.rows(
        FEEDS,
        batches=sorted(batch for batch, _ in pairs if batch),
        feed_lots=sorted(feed_lot for _, feed_lot in pairs if feed_lot),
    )
    return {
        ("load" if kind == "load" else "lot", pk): FeedIn(kind, pk, *rest) for kind, pk, *rest in told
    }
