"""Which computed lot is which of the book: tests and holds hang on lots, and stay with the milk.

A lot gets its number and its code when it is first computed, from what opened it. When the lots of
a tank are computed again, each is the one it was: opened by the same at the same moment, otherwise
the one whose milk it has most of. A lot for which nothing is left is void, never deleted; those
that have its milk now name it as a parent with 0 kg, so that a hold on it still holds them.
"""

import uuid as uuids
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import count
from typing import Any

from django.db.models import Q
from django.utils import timezone

from milk import blend
from milk.models import Delivery, LotParent, Milking, MilkLot, Tank, TankEvent
from milk.services.timeline import DELIVERY, EVENT, MILKING, Key, grams

# Made once for this purpose; numbers of lots follow from it for ever.
LOT_NUMBERS = uuids.UUID("5b1f3c2e-6d0a-4a4e-9a52-0f3f8f6f2f10")
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
    void = set(
        LotParent.objects.filter(
            lot_id__in={lot for lot, _ in old.parents}, parent__void=True
        ).values_list("parent", flat=True)
    )
    for (lot, parent), kg in old.parents.items():
        if parent in void - found.revived - found.voided:
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


def name_origins(lots: Iterable[blend.Lot], rows: Mapping[blend.LotKey, MilkLot]) -> None:
    """Write into the rows what opened each lot, and which day's milk it is."""
    opened = list(lots)
    days = days_of({lot.opened_by for lot in opened})
    for lot in opened:
        row = rows[lot.key]
        kind, number = lot.opened_by
        row.milking_id = row.delivery_id = row.move_id = None
        setattr(row, COLUMN[kind], number)
        row.day, row.session = days.get((kind, number)) or moved_day(lot, rows)


def days_of(openers: Iterable[Any]) -> dict[Key, tuple[Any, str]]:
    """Day and session of milkings, day of deliveries."""
    numbers: dict[str, set[int]] = defaultdict(set)
    for kind, number in openers:
        numbers[kind].add(number)
    found: dict[Key, tuple[Any, str]] = {}
    milked = Milking.objects.filter(pk__in=numbers[MILKING])
    for pk, day, session in milked.values_list("pk", "day", "session"):
        found[MILKING, pk] = (day, session)
    came = Delivery.objects.filter(pk__in=numbers[DELIVERY])
    for pk, at in came.values_list("pk", "happened_at"):
        found[DELIVERY, pk] = (timezone.localdate(at), "")
    return found


def moved_day(lot: blend.Lot, rows: Mapping[blend.LotKey, MilkLot]) -> tuple[Any, str]:
    """The day and session of the milk that a move brought."""
    for parent in lot.parents:
        row = rows.get(parent)
        if row is not None and row.tank_id != lot.tank:
            return row.day, row.session
    return timezone.localdate(lot.opened_at), ""


def christen(rows: Sequence[MilkLot]) -> None:
    """Give new lots the next free number and code; none is ever used twice."""
    if not rows:
        return
    sources = source_numbers(rows)
    tanks = dict(Tank.objects.values_list("pk", "name"))
    for row in rows:
        row.uuid, row.code = uuids.UUID(int=0), ""
    give(rows, "uuid", lambda row, n: lot_number(sources[opener(row)], n))
    give(rows, "code", lambda row, n: code_of(row, tanks[row.tank_id], n))


def code_of(row: MilkLot, tank: str, sequence: int) -> str:
    """Tank, day and milking ("B-2026-06-09-E"), numbered from the second on; D for a delivery."""
    letter = row.session or ("D" if row.delivery_id else "")
    plain = "-".join(part for part in (tank, f"{row.day:%Y-%m-%d}", letter) if part)
    return plain if sequence == 1 else f"{plain}-{sequence}"


def source_numbers(rows: Iterable[MilkLot]) -> dict[Key | None, uuids.UUID]:
    """The number (UUID) of what opened each lot."""
    found: dict[Key | None, uuids.UUID] = {}
    models: dict[str, Any] = {MILKING: Milking, DELIVERY: Delivery, EVENT: TankEvent}
    openers = [opener(row) for row in rows]
    for kind, model in models.items():
        keys = [key[1] for key in openers if key is not None and key[0] == kind]
        for pk, number in model.objects.filter(pk__in=keys).values_list("pk", "uuid"):
            found[kind, pk] = number
    return found


def give(rows: Sequence[MilkLot], column: str, name: Any) -> None:
    """Set a column of new lots to the first free of its names."""
    waiting = {id(row): (row, count(1)) for row in rows}
    given: set[Any] = set()
    while waiting:
        offers = {key: name(row, next(numbers)) for key, (row, numbers) in waiting.items()}
        asked = {f"{column}__in": list(set(offers.values()))}
        taken = set(MilkLot.objects.filter(**asked).values_list(column, flat=True)) | given
        for key, offer in offers.items():
            if offer not in taken:
                setattr(waiting.pop(key)[0], column, offer)
                taken.add(offer)
                given.add(offer)
