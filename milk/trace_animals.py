"""The animals of a trace, told one by one: names, and every milking with kg, count and periods.

Told when somebody asks for them: a trace of two thousand cows is answered before, and a page
shows some of them. Reads only.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable
from datetime import datetime
from heapq import nlargest
from typing import Any

from milk.trace_inside import Inside, span_of
from milk.trace_inside_sql import METERED_BY_MILKING, NAMES_AND_COUNTS, SOME_COWS_OF_LOTS
from milk.trace_parts import Count, CowAt, CowIn, animal_name

Counts = dict[int, list[Count]]


def told(inside: Inside, animals: Collection[int] | None = None) -> list[CowIn]:
    """The animals (keys; all without), heaviest first, each with her milkings."""
    wanted = inside.kg if animals is None else inside.kg.keys() & animals
    if not wanted:
        return []
    found: dict[int, CowIn] = {}
    counts: Counts = {}
    rows = inside.reader.rows(NAMES_AND_COUNTS, **named_asked(inside, wanted))
    for pk, uuid, number, tag, *count in rows:
        if pk not in found:
            name = animal_name(number, tag)
            found[pk] = CowIn(pk, uuid, name, tag, kg=inside.kg[pk], milkings=[])
            counts[pk] = []
        if count[0] is not None:
            counts[pk].append((count[0], count[1], count[2]))
    for row in inside.rows(wanted):
        # One without a weight is among those who share the rest.
        if row.grams is not None and row.animal in found:
            animal, kg = row.animal, inside.kg_of(row)
            at = at_milking(inside, counts.get(animal, ()), row.lot, row.milking, animal, kg, True)
            found[animal].milkings.append(at)
    for part in inside.shared:
        pair = part.lot, part.milking
        for animal in part.animals.keys() & found.keys():
            at = at_milking(inside, counts.get(animal, ()), *pair, animal, part.kg, False)
            found[animal].milkings.append(at)
    return sorted(found.values(), key=lambda cow: (-(cow.kg or 0), cow.name))


def send_ahead(inside: Inside, animals: Collection[int]) -> None:
    """Ask for what telling some animals (keys) wants; within ``in_a_row``."""
    wanted = inside.kg.keys() & animals
    if 0 < len(wanted) < len(inside.kg):
        inside.reader.ahead(NAMES_AND_COUNTS, **named_asked(inside, wanted))
        rows = {"lots": list(inside.per_gram), "animals": sorted(wanted)}
        inside.reader.ahead(SOME_COWS_OF_LOTS, **rows)


def named_asked(inside: Inside, animals: Iterable[int]) -> dict[str, Any]:
    """What NAMES_AND_COUNTS is asked."""
    first, last = span_of(inside.milkings)
    return {"animals": sorted(animals), "first": first, "last": last}


def at_milking(
    inside: Inside,
    counts: Iterable[Count],
    lot: int,
    milking: int,
    animal: int,
    kg: float | None,
    weighed: bool,
) -> CowAt:
    """An animal at one milking; ``counts``: her own, ``kg``: of hers in the thing."""
    there = inside.milkings[milking]
    cells = count_then(counts, there.started_at)
    withheld = inside.withheld.get((animal, milking), ())
    return CowAt(there, inside.codes[lot], kg, weighed, cells, withheld)


def count_then(counts: Iterable[Count], at: datetime) -> Count | None:
    """The count that was the latest at a moment."""
    for count in counts:
        if count[0] <= at and (count[1] is None or at < count[1]):
            return count
    return None


def heaviest(inside: Inside, number: int) -> set[int]:
    """So many of the animals (keys) with the most milk in it."""
    kilos = {animal: kg or 0.0 for animal, kg in inside.kg.items()}
    return set(nlargest(number, kilos, key=kilos.__getitem__))


def not_weighed(inside: Inside) -> int:
    """How many animals have a part that no meter weighed, mistakes aside."""
    own = [part for part in inside.shared if not inside.milkings[part.milking].by_mistake]
    return len({animal for part in own for animal in part.animals})


def mistaken(inside: Inside) -> set[int]:
    """The animals (keys) milked into it by mistake."""
    mistakes = [part for part in inside.shared if inside.milkings[part.milking].by_mistake]
    return {animal for part in mistakes for animal in part.animals}


def send_by_group_ahead(inside: Inside) -> None:
    """Ask for what ``by_group`` wants; within ``in_a_row``."""
    inside.reader.ahead(METERED_BY_MILKING, lots=list(inside.per_gram))


def by_group(inside: Inside) -> dict[int, int]:
    """By number of a group, how many of its animals are in it; 0: of no group, by mistake."""
    animals: dict[int, set[int]] = defaultdict(set)
    rows = inside.reader.rows(METERED_BY_MILKING, lots=list(inside.per_gram))
    for milking, found in rows:
        # A row may stand under a milking that was struck.
        if milking in inside.milkings:
            animals[inside.milkings[milking].group].update(found)
    for part in inside.shared:
        animals[inside.milkings[part.milking].group].update(part.animals)
    return {group: len(found) for group, found in animals.items()}
