"""Which animals' milk is in lots, what their cell count was, and whether they were withheld.

By meter row, or because they stood in the group that was milked. Reads only.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple
from uuid import UUID

from milk.trace_mistakes import Mistake
from milk.trace_parts import Count, CowAt, CowIn, MilkingIn, Period, animal_name
from milk.trace_sql import (
    ANIMALS_AND_COUNTS,
    COWS_OF_LOTS,
    METER_MOMENTS,
    OLDER_COUNTS,
    PERIODS,
    PRESENT,
    LotRow,
    Reader,
)

# Counts are read this far back in one go; older ones of animals without are read singly. How far
# changes the speed, never the answer.
COUNTS_IN_ONE_READ = timedelta(days=62)
# Seconds after the start are a smallint: no cow stands at the meter later than this.
LONGEST_MILKING = timedelta(seconds=32_767)


@dataclass(frozen=True)
class Part:
    """A group's milking in one lot, kg of the lot's own milk."""

    lot: int
    milking: int
    kg: float


class Cow(NamedTuple):
    """An animal's milk in a lot: kg in the thing, and whether a meter weighed it."""

    lot: int
    milking: int
    animal: int
    kg: float | None
    weighed: bool


def scaled(kg: float, lot: LotRow, weights: dict[int, float]) -> float | None:
    """kg of a lot's own milk as kg of the thing; None when the lot's weight is not known."""
    return kg * weights[lot.pk] / lot.kg if lot.kg else None


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


def with_mistakes(
    cows: Sequence[Cow],
    mistakes: Iterable[Mistake],
    rows: Sequence[LotRow],
    weights: dict[int, float],
    milkings: dict[int, MilkingIn],
) -> list[Cow]:
    """The animals, and those milked into the lots by mistake; their milkings join ``milkings``.

    An animal that a row or her group puts into the lot anyway is not in it twice.
    """
    lots = {row.pk: row for row in rows}
    known = {(cow.lot, cow.animal) for cow in cows}
    found = list(cows)
    for mistake in mistakes:
        if mistake.lot is None or (mistake.lot, mistake.animal) in known:
            continue
        lot = lots[mistake.lot]
        kg = None if mistake.kg is None else scaled(mistake.kg, lot, weights)
        mistake.milking.lots.append((lot.code, kg))
        milkings[mistake.milking.pk] = mistake.milking
        found.append(Cow(lot.pk, mistake.milking.pk, mistake.animal, kg, weighed=False))
    return found


def without_meters(
    part: Part,
    milkings: dict[int, MilkingIn],
    inside: dict[tuple[int, int], dict[int, int | None]],
) -> bool:
    """Whether a part's animals are those that stood in the group: no meters, or no rows came."""
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
                cells=counts.get((cow.animal, cow.milking)),
                withheld=periods.get((cow.animal, cow.milking), ()),
            )
        )
    found = [CowIn(pk, *names[pk], kg=known_kg(at), milkings=at) for pk, at in by_animal.items()]
    return sorted(found, key=lambda cow: (-(cow.kg or 0), cow.name))


def known_kg(milkings: Iterable[CowAt]) -> float | None:
    """kg of all milkings; None when of none of them it is known."""
    known = [at.kg for at in milkings if at.kg is not None]
    return sum(known) if known else None


Counts = dict[tuple[int, int], Count]


def names_and_counts(
    reader: Reader, cows: Sequence[Cow], milkings: dict[int, MilkingIn]
) -> tuple[dict[int, tuple[UUID, str, str]], Counts]:
    """(uuid, name, ear tag) of every animal; by animal and milking, the latest count then."""
    starts = [milking.started_at for milking in milkings.values()]
    first, last = min(starts), max(starts)
    since = first - COUNTS_IN_ONE_READ
    names: dict[int, tuple[UUID, str, str]] = {}
    known: dict[int, list[Count]] = {}
    animals = sorted({cow.animal for cow in cows})
    rows = reader.rows(ANIMALS_AND_COUNTS, animals=animals, since=since, first=first, last=last)
    for pk, uuid, number, tag, at, valid_to, cells in rows:
        names[pk] = (uuid, animal_name(number, tag), tag)
        if at is not None:
            known.setdefault(pk, []).append((at, valid_to, cells))
    counts = counts_then(cows, milkings, known)
    without = {cow.animal for cow in cows if (cow.animal, cow.milking) not in counts}
    if without:
        older: dict[int, list[Count]] = {}
        for pk, at, valid_to, cells in reader.rows(
            OLDER_COUNTS, animals=sorted(without), since=since
        ):
            older[pk] = [(at, valid_to, cells)]
        counts = {**counts_then(cows, milkings, older), **counts}
    return names, counts


def counts_then(
    cows: Iterable[Cow], milkings: dict[int, MilkingIn], known: dict[int, list[Count]]
) -> Counts:
    """By animal and milking, the count that was the latest then."""
    found: Counts = {}
    for cow in cows:
        if cow.animal in known:
            at = milkings[cow.milking].started_at
            for count in known[cow.animal]:
                if count[0] <= at and (count[1] is None or at < count[1]):
                    found[cow.animal, cow.milking] = count
                    break
    return found


def periods_at(
    reader: Reader, cows: Sequence[Cow], milkings: dict[int, MilkingIn]
) -> dict[tuple[int, int], list[Period]]:
    """By animal and milking, the withdrawal periods she was inside when she was milked.

    The moment is hers at the meter where one wrote it, else the start of the milking.
    """
    starts = [milking.started_at for milking in milkings.values()]
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
