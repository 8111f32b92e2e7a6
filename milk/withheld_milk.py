"""Which lots hold milk of an animal inside her withdrawal period: read live, never kept.

Two directions with one answer: from lots to the animals in them, and from withdrawal periods to the
lots they reached. Every statement takes explicit arrays or literal bounds, so that none of them
walks through the years of milkings. A moment is that of the cow at the meter where it was measured,
else the start of her group's milking.
"""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from operator import attrgetter
from typing import Any
from uuid import UUID

from config.asking import ask
from config.once_a_page import once_a_page

# The last cow of a milking stands at the meter at most so long after its start (a smallint of s).
LONGEST_MILKING = timedelta(seconds=32_767)
# Milkings further apart than this are asked about apart, so that an old lot beside a new one does
# not ask for the years between them.
GAP = timedelta(days=2)
KEPT_OUT = 1

PARTS = """
    SELECT p.lot_id, m.id, m.happened_at, m.group_id, m.metered, g.number
    FROM milk_milkingpart AS p
    JOIN milk_milking AS m ON m.id = p.milking_id
    JOIN herd_group AS g ON g.id = m.group_id
    WHERE p.lot_id = ANY(%s) AND m.struck_at IS NULL
"""
PERIODS_IN_SPANS = """
    SELECT DISTINCT w.id, w.animal_id, w.source, w.course_id, w.kind, w.why,
        lower(w.during), upper(w.during)
    FROM unnest(%s::timestamptz[], %s::timestamptz[]) AS span (lo, hi)
    JOIN herd_withdrawalperiod AS w ON w.during && tstzrange(span.lo, span.hi, '[]')
"""
PERIODS_OF_ANIMALS = f"{PERIODS_IN_SPANS} WHERE w.animal_id = ANY(%s)"
METERED_IN_LOTS = """
    SELECT lot_id, milking_id, animal_id, grams, at_s
    FROM milk_cowmilking WHERE lot_id = ANY(%s) AND animal_id = ANY(%s)
"""
METERED_IN_PERIODS = """
    SELECT c.lot_id, c.milking_id, c.animal_id, c.grams, c.at_s
    FROM unnest(%s::int[], %s::int[], %s::int[]) AS p (animal, first, last)
    JOIN milk_cowmilking AS c
      ON c.animal_id = p.animal AND c.milking_id BETWEEN p.first AND p.last
    WHERE c.lot_id IS NOT NULL
"""
STAYS = """
    SELECT animal_id, group_id, lower(during), upper(during)
    FROM herd_groupstay
    WHERE animal_id = ANY(%s) AND struck_at IS NULL AND group_id IS NOT NULL
      AND during && tstzrange(%s, %s, '[]')
"""
# The longest part of the key first: few animals, few milkings.
KEPT_OUT_ROWS = """
    SELECT animal_id, milking_id FROM milk_cowmilking
    WHERE animal_id = ANY(%s) AND milking_id = ANY(%s) AND goes = %s
"""
MILKINGS_IN_SPAN = """
    SELECT id, happened_at, group_id, metered FROM milk_milking
    WHERE happened_at >= %s AND happened_at < %s AND struck_at IS NULL
    ORDER BY happened_at, id
"""
LOTS_OF_MILKINGS = "SELECT milking_id, lot_id FROM milk_milkingpart WHERE milking_id = ANY(%s)"


@dataclass(frozen=True, kw_only=True)
class Row:
    """Milk of one animal at one milking in one lot, and the withdrawal period it falls into.

    Numbers are database keys. ``source``: the number of the entry the period comes from (a course,
    a dry-off, a calving). ``kg`` is None where no meter weighed it: she stood in the group then.
    """

    lot: int
    milking: int
    animal: int
    source: UUID
    course: int | None
    kind: str
    at: datetime
    kg: Decimal | None
    why: str


@dataclass(frozen=True)
class Milked:
    """A standing milking of a group."""

    id: int
    at: datetime
    group: int
    metered: bool


@dataclass(frozen=True)
class Period:
    """From when until when an animal's milk is kept out; ``until`` None when nobody knows."""

    id: int
    animal: int
    source: UUID
    course: int | None
    kind: str
    why: str
    since: datetime
    until: datetime | None

    def holds(self, moment: datetime) -> bool:
        return self.since <= moment and (self.until is None or moment < self.until)


@dataclass(frozen=True)
class Stay:
    """An animal in a group; ``until`` None while she is there."""

    animal: int
    group: int
    since: datetime
    until: datetime | None


def withheld_in(lot_ids: Iterable[int]) -> list[Row]:
    """Withheld milk in these lots' own milk (not in what was carried over into them).

    Milk into a waste tank is told as well; who asks decides what that means.
    """
    lots = sorted(set(lot_ids))
    if not lots:
        return []
    parts = parts_of(frozenset(lots))
    milkings = {milked.id: milked for _, milked, _ in parts}
    if not milkings:
        return []
    periods = by_animal(periods_in(spans_of(milkings.values())))
    animals = sorted(periods)
    if not animals:
        return []
    metered = fetch(METERED_IN_LOTS, lots, animals)
    unmetered = [(lot, milked) for lot, milked, _ in parts if not milked.metered]
    stays = stays_by_group(periods, [milked for _, milked in unmetered])
    return sorted_rows(
        [*rows_of_meters(metered, milkings, periods), *rows_of_stays(unmetered, periods, stays)]
    )


def lots_with_withheld(
    since: datetime, until: datetime, animals: Collection[int] | None = None
) -> list[Row]:
    """Withheld milk of the milkings that began in [since, until), in whatever lot it is.

    ``animals``: only of these. Driven from the withdrawal periods, so that a herd in order costs
    next to nothing.
    """
    if since >= until:
        return []
    periods = by_animal(periods_in([(since, until + LONGEST_MILKING)], animals))
    if not periods:
        return []
    ordered = [Milked(*row) for row in fetch(MILKINGS_IN_SPAN, since, until)]
    if not ordered:
        return []
    milkings = {milked.id: milked for milked in ordered}
    metered = fetch(METERED_IN_PERIODS, *reach_of(periods, ordered))
    unmetered = [milked for milked in ordered if not milked.metered]
    stays = stays_by_group(periods, unmetered)
    parts = parts_of_stays(unmetered, periods, stays)
    return sorted_rows(
        [*rows_of_meters(metered, milkings, periods), *rows_of_stays(parts, periods, stays)]
    )


@once_a_page
def parts_of(lots: frozenset[int]) -> list[tuple[int, Milked, int]]:
    """(lot, milking, number of its group) of every standing milking into these lots."""
    return [(row[0], Milked(*row[1:5]), row[5]) for row in fetch(PARTS, sorted(lots))]


def fetch(sql: str, *values: Any) -> list[Any]:
    """The rows of a statement, each ``%s`` in the order of the values."""
    return ask(sql, values)


def spans_of(milkings: Iterable[Milked]) -> list[tuple[datetime, datetime]]:
    """The spans of time these milkings lie in, those near each other taken together."""
    spans: list[tuple[datetime, datetime]] = []
    for at in sorted(milked.at for milked in milkings):
        end = at + LONGEST_MILKING
        if spans and at - spans[-1][1] <= GAP:
            spans[-1] = (spans[-1][0], end)
        else:
            spans.append((at, end))
    return spans


def periods_in(
    spans: Sequence[tuple[datetime, datetime]], animals: Collection[int] | None = None
) -> list[Period]:
    """The withdrawal periods that touch one of the spans."""
    starts, ends = [lo for lo, _ in spans], [hi for _, hi in spans]
    if animals is None:
        return [Period(*row) for row in fetch(PERIODS_IN_SPANS, starts, ends)]
    return [Period(*row) for row in fetch(PERIODS_OF_ANIMALS, starts, ends, sorted(animals))]


def by_animal(periods: Iterable[Period]) -> dict[int, list[Period]]:
    """Periods by the animal they keep out."""
    found: dict[int, list[Period]] = defaultdict(list)
    for period in periods:
        found[period.animal].append(period)
    return dict(found)


def reach_of(
    periods: dict[int, list[Period]], ordered: Sequence[Milked]
) -> tuple[list[int], list[int], list[int]]:
    """Animals, and the lowest and highest number of a milking inside one of her periods."""
    moments = [milked.at for milked in ordered]
    animals, firsts, lasts = [], [], []
    for animal, of_her in periods.items():
        for period in of_her:
            start = bisect_left(moments, period.since - LONGEST_MILKING)
            end = bisect_left(moments, period.until) if period.until else len(moments)
            numbers = [milked.id for milked in ordered[start:end]]
            if numbers:
                animals.append(animal)
                firsts.append(min(numbers))
                lasts.append(max(numbers))
    return animals, firsts, lasts


def rows_of_meters(
    metered: Iterable[Any], milkings: dict[int, Milked], periods: dict[int, list[Period]]
) -> Iterator[Row]:
    """Meter rows whose moment lies in a period of the cow."""
    for lot, milking, animal, grams, seconds in metered:
        milked = milkings.get(milking)
        if milked is None:
            continue
        at = milked.at + timedelta(seconds=seconds or 0)
        kg = None if grams is None else Decimal(grams) / 1000
        for period in periods[animal]:
            if period.holds(at):
                yield row_of(lot, milked, period, at, kg)


def rows_of_stays(
    parts: Sequence[tuple[int, Milked]],
    periods: dict[int, list[Period]],
    stays: dict[int, list[Stay]],
) -> Iterator[Row]:
    """Animals that stood in a group milked without meters, unless a row says they were kept out."""
    lots: dict[int, list[int]] = defaultdict(list)
    for lot, milked in parts:
        lots[milked.id].append(lot)
    there = list(stood([milked for _, milked in parts], periods, stays))
    if not there:
        return
    out = kept_out(periods, [milked for milked, _ in there])
    for milked, period in there:
        if (period.animal, milked.id) not in out:
            for lot in lots[milked.id]:
                yield row_of(lot, milked, period, milked.at, None)


def stood(
    milkings: Iterable[Milked], periods: dict[int, list[Period]], stays: dict[int, list[Stay]]
) -> Iterator[tuple[Milked, Period]]:
    """The milkings at which an animal stood in the group and was inside a period, each once."""
    by_group: dict[int, list[Milked]] = defaultdict(list)
    for milked in {milked.id: milked for milked in milkings}.values():
        by_group[milked.group].append(milked)
    for group, ordered in by_group.items():
        ordered.sort(key=attrgetter("at"))
        moments = [milked.at for milked in ordered]
        for stay in stays.get(group, ()):
            for period in periods[stay.animal]:
                first = bisect_left(moments, max(stay.since, period.since))
                ends = [end for end in (stay.until, period.until) if end is not None]
                last = bisect_left(moments, min(ends)) if ends else len(moments)
                for milked in ordered[first:last]:
                    yield milked, period


def stays_by_group(
    periods: dict[int, list[Period]], milkings: Sequence[Milked]
) -> dict[int, list[Stay]]:
    """Where the animals stood while these milkings were, by group."""
    if not milkings:
        return {}
    moments = [milked.at for milked in milkings]
    found: dict[int, list[Stay]] = defaultdict(list)
    for row in fetch(STAYS, sorted(periods), min(moments), max(moments)):
        stay = Stay(*row)
        found[stay.group].append(stay)
    return found


def kept_out(periods: dict[int, list[Period]], milkings: Sequence[Milked]) -> set[tuple[int, int]]:
    """(animal, milking) where somebody wrote that her milk was kept out."""
    numbers = sorted({milked.id for milked in milkings})
    return {tuple(row) for row in fetch(KEPT_OUT_ROWS, sorted(periods), numbers, KEPT_OUT)}


def parts_of_stays(
    unmetered: Sequence[Milked], periods: dict[int, list[Period]], stays: dict[int, list[Stay]]
) -> list[tuple[int, Milked]]:
    """(lot, milking) of the milkings without meters whose group had an animal in a period."""
    touched = {milked.id: milked for milked, _ in stood(unmetered, periods, stays)}
    lots = fetch(LOTS_OF_MILKINGS, sorted(touched)) if touched else []
    return [(lot, touched[milking]) for milking, lot in lots]


def row_of(lot: int, milked: Milked, period: Period, at: datetime, kg: Decimal | None) -> Row:
    return Row(
        lot=lot,
        milking=milked.id,
        animal=period.animal,
        source=period.source,
        course=period.course,
        kind=period.kind,
        at=at,
        kg=kg,
        why=period.why,
    )


def sorted_rows(rows: Iterable[Row]) -> list[Row]:
    """Rows in the order of milkings; one per lot, milking, animal and cause, weighed first."""
    found: dict[tuple[Any, ...], Row] = {}
    for row in rows:
        key = (row.lot, row.milking, row.animal, row.source, row.kind)
        if key not in found or found[key].kg is None:
            found[key] = row
    return sorted(found.values(), key=lambda row: (row.at, row.lot, row.animal, str(row.source)))
