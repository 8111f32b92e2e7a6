"""Whose milk is in some lots: by meter row, because she stood in the group, or by mistake.

Reads only. What every trace needs of two thousand animals is summed by the database: who is in it,
with how many kg, her latest cell count, and who was inside a withdrawal period. Which milkings each
of them was at is read when somebody asks, by ``milk.trace_animals``.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from operator import itemgetter
from typing import Any, NamedTuple

from milk.trace_inside_sql import (
    COUNTS,
    COUNTS_BETWEEN,
    COWS_OF_LOTS,
    METERED,
    PERIODS,
    PRESENT,
    SOME_COWS_OF_LOTS,
)
from milk.trace_mistakes import Mistake
from milk.trace_parts import MilkingIn, Period
from milk.trace_sql import LotRow, Reader

# Counts are read this far back in one go; older ones of animals without are read singly. How far
# changes the speed, never the answer.
COUNTS_IN_ONE_READ = timedelta(days=62)
# Seconds after the start are a smallint: no cow stands at the meter later than this.
LONGEST_MILKING = timedelta(seconds=32_767)
Pair = tuple[int, int]
WITHOUT_WEIGHT = itemgetter(2)


class Row(NamedTuple):
    """A meter row: keys of lot, milking and animal; ``grams`` None when no weight was written."""

    lot: int
    milking: int
    animal: int
    grams: int | None
    seconds: int | None


@dataclass(frozen=True)
class Part:
    """A group's milking in one lot, kg of the lot's own milk; ``by_row``: meter rows tell whose."""

    lot: int
    milking: int
    kg: float
    by_row: bool


class Shared(NamedTuple):
    """Of a part, what no meter weighed: equal parts of ``kg`` of the thing (None: not known).

    ``animals`` (keys): seconds after the start of the milking, where a row says when she stood at
    the meter.
    """

    lot: int
    milking: int
    kg: float | None
    animals: dict[int, int | None]


@dataclass(frozen=True, kw_only=True)
class Inside:
    """Everybody in the lots.

    ``per_gram``: by lot, kg in the thing for each gram of its own milk, None when its weight is not
    known. ``shared``: whom no meter weighed. ``kg``: by animal, in the thing (None: not known);
    ``cells``: by animal, the count, thousand per ml, that was the latest at the latest of her
    milkings. ``withheld``: by animal and milking, the periods she was inside.
    """

    reader: Reader
    milkings: dict[int, MilkingIn]
    codes: dict[int, str]
    per_gram: dict[int, float | None]
    shared: list[Shared]
    kg: dict[int, float | None]
    cells: dict[int, float]
    withheld: dict[Pair, list[Period]]

    def kg_of(self, row: Row) -> float | None:
        """kg of a meter row in the thing."""
        factor = self.per_gram[row.lot]
        return None if factor is None or row.grams is None else row.grams * factor

    def rows(self, animals: Collection[int]) -> list[Row]:
        """The meter rows of animals (keys), those without a weight too."""
        everybody = len(animals) == len(self.kg)
        return meter_rows(self.reader, self.per_gram, None if everybody else animals)


def inside(
    reader: Reader,
    rows: Sequence[LotRow],
    parts: Sequence[Part],
    milkings: dict[int, MilkingIn],
    weights: Mapping[int, float],
    mistakes: Iterable[Mistake],
) -> Inside:
    """Everybody in lots; ``weights``: by lot, kg of its own milk in the thing.

    What the meters did not weigh is shared out equally among the animals without a weight. The
    milkings of mistakes join ``milkings``.
    """
    per_gram = factors(rows, weights)
    metered = reader.rows(METERED, **metered_asked(per_gram))
    kg: dict[int, float | None] = {animal: sums for animal, sums, _ in metered}
    without = max(map(WITHOUT_WEIGHT, metered), default=0) > 0
    shared = shared_out(reader, parts, milkings, per_gram, without)
    codes = {row.pk: row.code for row in rows}
    shared += by_mistake(reader, mistakes, shared, per_gram, codes, milkings)
    for part in shared:
        for animal in part.animals:
            before = kg.get(animal)
            kg[animal] = before if part.kg is None else (before or 0.0) + part.kg
    return Inside(
        reader=reader,
        milkings=milkings,
        codes=codes,
        per_gram=per_gram,
        shared=shared,
        kg=kg,
        cells=cells_of(reader, kg, shared, per_gram, milkings),
        withheld=withheld_at(reader, kg, shared, per_gram, milkings),
    )


def factors(rows: Iterable[LotRow], weights: Mapping[int, float]) -> dict[int, float | None]:
    """By lot, kg in the thing for each gram of its own milk; None when nobody knows its weight."""
    return {row.pk: weights[row.pk] / row.kg / 1000 if row.kg else None for row in rows}


def metered_asked(per_gram: Mapping[int, float | None]) -> dict[str, Any]:
    """What METERED is asked."""
    return {"lots": list(per_gram), "factors": list(per_gram.values())}


def send_ahead(reader: Reader, parts: Iterable[Part], milkings: Mapping[int, MilkingIn]) -> None:
    """Ask for what ``inside`` wants of milkings already.

    It asks again where somebody milked by mistake moves the first or the last of them.
    """
    stood = [part for part in parts if not part.by_row]
    if stood:
        reader.ahead(PRESENT, **present_asked(stood, milkings))
    reader.ahead(COUNTS, **counts_asked(milkings))
    reader.ahead(PERIODS, **periods_asked(milkings))


def present_asked(parts: Iterable[Part], milkings: Mapping[int, MilkingIn]) -> dict[str, list[Any]]:
    """What PRESENT is asked: the milkings of these parts, their groups and starts."""
    asked = [milkings[pk] for pk in dict.fromkeys(part.milking for part in parts)]
    return {
        "milkings": [milking.pk for milking in asked],
        "groups": [milking.group_id for milking in asked],
        "starts": [milking.started_at for milking in asked],
    }


def span_of(milkings: Mapping[int, MilkingIn]) -> tuple[datetime, datetime]:
    """When the first of the milkings began, and the last."""
    starts = [milking.started_at for milking in milkings.values()]
    return min(starts), max(starts)


def counts_asked(milkings: Mapping[int, MilkingIn]) -> dict[str, datetime]:
    """What COUNTS is asked."""
    first, last = span_of(milkings)
    return {"since": first - COUNTS_IN_ONE_READ, "first": first, "last": last}


def periods_asked(milkings: Mapping[int, MilkingIn]) -> dict[str, datetime]:
    """What PERIODS is asked."""
    first, last = span_of(milkings)
    return {"first": first, "last": last + LONGEST_MILKING}


def meter_rows(reader: Reader, lots: Iterable[int], animals: Collection[int] | None) -> list[Row]:
    """The meter rows of animals (keys; None: of everybody) in lots."""
    if animals is None:
        found = reader.rows(COWS_OF_LOTS, lots=list(lots))
    else:
        found = reader.rows(SOME_COWS_OF_LOTS, lots=list(lots), animals=sorted(animals))
    return [Row._make(row) for row in found]


def shared_out(
    reader: Reader,
    parts: Iterable[Part],
    milkings: Mapping[int, MilkingIn],
    per_gram: Mapping[int, float | None],
    without: bool,
) -> list[Shared]:
    """The equal parts of the animals no meter weighed, of what the meters left of each part.

    ``without``: whether any row of a metered milking has no weight.
    """
    animals, weighed = present(reader, [one for one in parts if not one.by_row], milkings)
    if without:
        pairs = {(part.lot, part.milking) for part in parts if part.by_row}
        for row in meter_rows(reader, per_gram, None):
            if (row.lot, row.milking) in pairs:
                note(row, animals, weighed)
    kilos = {(part.lot, part.milking): part.kg for part in parts}
    found = []
    for pair, of_it in animals.items():
        if of_it:
            rest = max(kilos.get(pair, 0.0) * 1000 - weighed[pair], 0.0)
            factor = per_gram[pair[0]]
            kg = None if factor is None else rest / len(of_it) * factor
            found.append(Shared(*pair, kg, of_it))
    return found


Sharing = dict[Pair, dict[int, int | None]]


def note(row: Row, animals: Sharing, weighed: dict[Pair, int]) -> None:
    """Put a row where it belongs: to the weighed milk of its part, or to who shares the rest."""
    if row.grams is None:
        animals[row.lot, row.milking][row.animal] = row.seconds
    else:
        weighed[row.lot, row.milking] += row.grams


def present(
    reader: Reader, parts: Sequence[Part], milkings: Mapping[int, MilkingIn]
) -> tuple[Sharing, dict[Pair, int]]:
    """By part (lot, milking): who shares what no meter weighed, and the grams that one weighed.

    They stood in the group; kept out ones are left out, and those whose row names another lot.
    """
    animals: Sharing = defaultdict(dict)
    weighed: dict[Pair, int] = defaultdict(int)
    if not parts:
        return animals, weighed
    lots: dict[int, list[int]] = defaultdict(list)
    for part in parts:
        lots[part.milking].append(part.lot)
    rows = reader.rows(PRESENT, **present_asked(parts, milkings))
    for milking, animal, known, grams, seconds, stood in rows:
        if known is None:
            if stood:
                for lot in lots[milking]:
                    animals[lot, milking][animal] = seconds
        elif known in lots[milking]:
            note(Row(known, milking, animal, grams, seconds), animals, weighed)
    return animals, weighed


def by_mistake(
    reader: Reader,
    mistakes: Iterable[Mistake],
    shared: Iterable[Shared],
    per_gram: Mapping[int, float | None],
    codes: Mapping[int, str],
    milkings: dict[int, MilkingIn],
) -> list[Shared]:
    """Animals milked into the lots by mistake; their milkings join ``milkings``.

    One that a row or her group puts into the lot anyway is not in it twice.
    """
    mistakes = [mistake for mistake in mistakes if mistake.lot is not None]
    if not mistakes:
        return []
    rows = meter_rows(reader, per_gram, {mistake.animal for mistake in mistakes})
    known = {(row.lot, row.animal) for row in rows}
    known |= {(part.lot, animal) for part in shared for animal in part.animals}
    found = []
    for mistake in mistakes:
        assert mistake.lot is not None
        if (mistake.lot, mistake.animal) in known:
            continue
        factor = per_gram[mistake.lot]
        kg = None if mistake.kg is None or factor is None else mistake.kg * 1000 * factor
        mistake.milking.lots.append((codes[mistake.lot], kg))
        milkings[mistake.milking.pk] = mistake.milking
        found.append(Shared(mistake.lot, mistake.milking.pk, kg, {mistake.animal: None}))
    return found


def cells_of(
    reader: Reader,
    animals: Mapping[int, object],
    shared: Iterable[Shared],
    lots: Iterable[int],
    milkings: Mapping[int, MilkingIn],
) -> dict[int, float]:
    """By animal, the count that was her latest at the last of her milkings."""
    if not animals:
        return {}
    first, last = span_of(milkings)
    cells: dict[int, float] = dict(reader.rows(COUNTS, **counts_asked(milkings)))
    rest = animals.keys() - cells.keys()
    if not rest:
        return cells
    # Never counted, or not for long, or between the first milking and the last.
    counted = reader.rows(COUNTS_BETWEEN, animals=sorted(rest), first=first, last=last)
    if not counted:
        return cells
    rest &= {row[0] for row in counted}
    at: dict[int, datetime] = {}
    milked = [(row.animal, row.milking) for row in meter_rows(reader, lots, rest)]
    milked += [(animal, part.milking) for part in shared for animal in part.animals.keys() & rest]
    for animal, milking in milked:
        start = milkings[milking].started_at
        at[animal] = max(at.get(animal, start), start)
    for animal, taken, until, count in counted:
        if taken <= at[animal] and (until is None or at[animal] < until):
            cells[animal] = count
    return cells


def withheld_at(
    reader: Reader,
    animals: Collection[int],
    shared: Iterable[Shared],
    lots: Iterable[int],
    milkings: Mapping[int, MilkingIn],
) -> dict[Pair, list[Period]]:
    """By animal and milking, the withdrawal periods she was inside when she was milked.

    The moment is hers at the meter where one wrote it, else the start of the milking.
    """
    if not animals:
        return {}
    rows = reader.rows(PERIODS, **periods_asked(milkings))
    periods: dict[int, list[Period]] = defaultdict(list)
    for row in rows:
        if row[0] in animals:
            periods[row[0]].append(Period(*row))
    if not periods:
        return {}
    seconds = {(row.animal, row.milking): row.seconds for row in meter_rows(reader, lots, periods)}
    for part in shared:
        for animal in part.animals.keys() & periods:
            seconds.setdefault((animal, part.milking), part.animals[animal])
    found: dict[Pair, list[Period]] = {}
    for (animal, milking), after in seconds.items():
        at = milkings[milking].started_at + timedelta(seconds=after or 0)
        open_then = [period for period in periods[animal] if period.holds(at)]
        if open_then:
            found[animal, milking] = open_then
    return found
