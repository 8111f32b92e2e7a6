"""Which computed lot is which of the book: tests and holds hang on lots, and stay with the milk.

A lot gets its number and its code when it is first computed, from what opened it. When the lots of
a tank are computed again, each is the one it was: opened by the same at the same moment, otherwise
the one whose milk it has most of. A lot for which nothing is left is void, never deleted; those
that have its milk now name it as a parent with 0 kg, so that a hold on it still holds them.
"""

import uuid as uuids
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import count
from typing import Any

from django.db.models import Q
from django.utils import timezone

from config.asking import ask
from milk import blend
from milk.models import LotParent, MilkLot
from milk.services.timeline import DELIVERY, EVENT, MILKING, Key, grams

# Made once for this purpose; numbers of lots follow from it for ever.
LOT_NUMBERS = uuids.UUID("5b1f3c2e-6d0a-4a4e-9a52-0f3f8f6f2f10")
NAMES = ("uuid", "code")
TAKEN = """
    SELECT uuid, code FROM milk_milklot
    WHERE uuid = ANY(%(numbers)s::uuid[]) OR code = ANY(%(codes)s::text[])
"""
COLUMN = {MILKING: "milking_id", DELIVERY: "delivery_id", EVENT: "move_id"}
Parts = Mapping[tuple[int, int], Decimal]


@dataclass
class Match:
    """``rows``: the row of each computed lot (unsaved when new); ``gone``: rows without one.

    ``revived``: keys of rows that were void. ``voided``: keys of rows that were not, and now are.
    """

    rows: dict[blend.LotKey, MilkLot] = field(default_factory=dict)
    gone: list[MilkLot] = field(default_factory=list)
    revived: set[int] = field(default_factory=set)
    voided: set[int] = field(default_factory=set)


def lot_number(source: uuids.UUID, sequence: int) -> uuids.UUID:
    """The number of the lot that ``source`` opened as its ``sequence``-th."""
    return uuids.uuid5(LOT_NUMBERS, f"{source}/{sequence}")


def opener(row: MilkLot) -> Key | None:
    """What opened a lot of the book, as the key of a flow."""
    for kind, column in COLUMN.items():
        number = getattr(row, column)
        if number is not None:
            return kind, number
    return None


def opened(row: MilkLot) -> Key:
    """The same of a lot that a replay has named."""
    key = opener(row)
    assert key is not None
    return key


def match(lots: Sequence[blend.Lot], book: Sequence[MilkLot], parts: Parts) -> Match:
    """Find for each computed lot its row in the book.

    ``book``: the rows of the time line, void ones too; ``parts``: kg by (lot, milking) keys.
    """
    found = Match()
    standing = [row for row in book if not row.void]
    by_opening = {(row.tank_id, opener(row), row.opened_at): row for row in reversed(standing)}
    free = {row.pk: row for row in standing}
    for lot in lots:
        row = by_opening.get((lot.tank, lot.opened_by, lot.opened_at))
        if row is not None and row.pk in free:
            found.rows[lot.key] = free.pop(row.pk)
    match_by_milk(lots, free, parts, found)
    match_void(lots, [row for row in book if row.void], found)
    for lot in lots:
        found.rows.setdefault(lot.key, MilkLot(tank_id=lot.tank))
    found.gone = list(free.values())
    found.voided = set(free)
    return found


def match_by_milk(
    lots: Sequence[blend.Lot], free: dict[int, MilkLot], parts: Parts, found: Match
) -> None:
    """Give lots without a row the free one whose milk they have most of, the largest first."""
    had: dict[int, dict[Key, int]] = defaultdict(dict)
    for (number, milking), kg in parts.items():
        if number in free:
            had[number][MILKING, milking] = grams(kg)
    claims = []
    for place, lot in enumerate(lots):
        if lot.key in found.rows:
            continue
        has = lot.parts()
        for pk, row in free.items():
            if row.tank_id != lot.tank:
                continue
            shared = sum(min(has.get(key, 0), weight) for key, weight in had[pk].items())
            if shared or opener(row) == lot.opened_by:
                claims.append((-shared, opener(row) != lot.opened_by, place, pk, lot.key))
    for *_, pk, key in sorted(claims, key=lambda claim: claim[:4]):
        if key not in found.rows and pk in free:
            found.rows[key] = free.pop(pk)


def match_void(lots: Sequence[blend.Lot], void: Sequence[MilkLot], found: Match) -> None:
    """A void lot comes back when its milk is a lot again: same opener, same moment or place."""
    waiting: dict[Any, list[MilkLot]] = defaultdict(list)
    for row in void:
        waiting[row.tank_id, opener(row)].append(row)
    for lot in lots:
        rows = waiting.get((lot.tank, lot.opened_by))
        if rows and lot.key not in found.rows:
            row = min(rows, key=lambda row: abs(row.opened_at - lot.opened_at))
            rows.remove(row)
            found.rows[lot.key] = row
            found.revived.add(row.pk)


def make_void(rows: Iterable[MilkLot]) -> None:
    """A lot that is no more weighs nothing; when it was and what opened it stays readable."""
    for row in rows:
        row.void = True
        row.kg = row.carried_kg = row.drawn_kg = Decimal(0)


def keep_heirs(
    old: Any,
    new: Any,
    found: Match,
    lots: Sequence[blend.Lot],
    keys: Mapping[blend.LotKey, int],
    after: Q,
) -> None:
    """Tie lots that have the milk of a void one to it; untie those of one that came back.

    ``after``: lots that were not computed again and keep their ties.
    """
    standing = set(keys.values())
    stay_void = old.void - found.revived - found.voided
    for (lot, parent), kg in old.parents.items():
        if parent in stay_void:
            new.parents.setdefault((lot, parent), kg)
    milk_of: dict[int, set[int]] = defaultdict(set)
    for row, milking in old.parts:
        if row in found.voided:
            milk_of[row].add(milking)
    for lot in lots:
        has = {number for (kind, number) in lot.parts() if kind == MILKING}
        for row, milkings in milk_of.items():
            if milkings & has:
                new.parents.setdefault((keys[lot.key], row), Decimal(0))
    revived = LotParent.objects.filter(parent_id__in=found.revived, kg=0)
    revived = revived.exclude(lot__in=MilkLot.objects.filter(after))
    for lot, parent, kg in revived.values_list("lot_id", "parent_id", "kg"):
        if lot not in standing:
            old.parents[lot, parent] = kg


def name_origins(
    lots: Iterable[blend.Lot], rows: Mapping[blend.LotKey, MilkLot], flows: Iterable[blend.Flow]
) -> None:
    """Write into the rows what opened each lot, and which day's milk it is."""
    flow_of = {flow.key: flow for flow in flows}
    for lot in lots:
        row = rows[lot.key]
        kind, number = lot.opened_by
        row.milking_id = row.delivery_id = row.move_id = None
        setattr(row, COLUMN[kind], number)
        row.day, row.session = day_of(flow_of[lot.opened_by]) or moved_day(lot, rows)


def day_of(flow: blend.Flow) -> tuple[Any, str] | None:
    """Day and session of a milking, day of a delivery; None of a move."""
    kind, *said = flow.session
    if kind == MILKING:
        return said[0], said[1]
    return (timezone.localdate(flow.at), "") if kind == DELIVERY else None


def moved_day(lot: blend.Lot, rows: Mapping[blend.LotKey, MilkLot]) -> tuple[Any, str]:
    """The day and session of the milk that a move brought."""
    for parent in lot.parents:
        row = rows.get(parent)
        if row is not None and row.tank_id != lot.tank:
            return row.day, row.session
    return timezone.localdate(lot.opened_at), ""


def christen(rows: Sequence[MilkLot], numbers: Mapping[Key, uuids.UUID]) -> None:
    """Give new lots the next free number and code; none is ever used twice.

    ``numbers``: by the key of a flow, the number of its entry.
    """
    if not rows:
        return
    tanks: dict[int, str] = dict(ask("SELECT id, name FROM milk_tank", {}))
    sources = [numbers[opened(row)] for row in rows]

    def offer(column: str, place: int, sequence: int) -> Any:
        row = rows[place]
        if column == "uuid":
            return lot_number(sources[place], sequence)
        return code_of(row, tanks[row.tank_id], sequence)

    waiting = {(column, place): count(1) for column in NAMES for place in range(len(rows))}
    given: set[Any] = set()
    while waiting:
        offers = {key: offer(*key, next(sequence)) for key, sequence in waiting.items()}
        taken = given | taken_of(offers.values())
        for (column, place), name in offers.items():
            if name not in taken:
                setattr(rows[place], column, name)
                taken.add(name)
                given.add(name)
                del waiting[column, place]


def taken_of(names: Collection[Any]) -> set[Any]:
    """Those of these numbers and codes that a lot of the book has."""
    codes = [name for name in names if isinstance(name, str)]
    numbers = [name for name in names if not isinstance(name, str)]
    found = ask(TAKEN, {"codes": codes, "numbers": numbers})
    return {name for row in found for name in row}


def code_of(row: MilkLot, tank: str, sequence: int) -> str:
    """Tank, day and milking ("B-2026-06-09-E"), numbered from the second on; D for a delivery."""
    letter = row.session or ("D" if row.delivery_id else "")
    plain = "-".join(part for part in (tank, f"{row.day:%Y-%m-%d}", letter) if part)
    return plain if sequence == 1 else f"{plain}-{sequence}"
