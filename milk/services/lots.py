"""Lots are computed: a change in a tank's time line replays it and writes the difference.

Whoever writes a milking, a draw or a wash calls ``rebuild`` in the same transaction, after
``lock_tanks``, so that two writers cannot interleave.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from config.asking import ask, in_a_row, send
from milk import blend
from milk.models import LotDraw, MilkLot, Tank, VatFill
from milk.services import closure, identity, meeting, timeline
from milk.services.lot_rows import (
    COMPUTED,
    Rows,
    book_of,
    insert_lots,
    read_rows,
    update_lots,
)
from milk.services.pairs import write_pairs
from milk.services.timeline import MILKING, TimeLine, kilos

BATCH = 500

# Only rows that change are written.
ASSIGN = """
    UPDATE milk_cowmilking AS c
    SET lot_id = CASE WHEN c.goes = 0 THEN part.lot END
    FROM unnest(%(milkings)s::int[], %(lots)s::int[], %(since)s::int[], %(until)s::int[])
         AS part(milking, lot, since, until)
    WHERE c.milking_id = part.milking
      AND coalesce(c.at_s, -32768) >= part.since AND coalesce(c.at_s, -32768) < part.until
      AND c.lot_id IS DISTINCT FROM CASE WHEN c.goes = 0 THEN part.lot END
"""
UNASSIGN = """
    UPDATE milk_cowmilking SET lot_id = NULL
    WHERE milking_id = ANY(%s::int[]) AND lot_id IS NOT NULL
"""
FIRST_SECOND, PAST_LAST_SECOND = -32768, 32768
PART_COLUMNS = ("milkings", "lots", "since", "until")


@dataclass
class Rebuilt:
    """What a rebuild changed: keys of lots and vats."""

    lots: set[int] = field(default_factory=set)
    vats: set[int] = field(default_factory=set)


def lock_tanks() -> None:
    """Let nobody else change what is in the tanks until this transaction ends.

    All of them, in one order: a move ties tanks together, and two writers that each hold one
    would wait for each other.
    """
    ask("SELECT id FROM milk_tank ORDER BY id FOR NO KEY UPDATE", {})


@transaction.atomic
def rebuild(
    *,
    tanks: Iterable[Tank | None],
    since: datetime,
    until: datetime | None = None,
    vats: Iterable[int] = (),
) -> Rebuilt:
    """Compute the lots of these tanks from ``since`` on again, and all that follows from them.

    ``until``: the last moment at which anything changed. The replay stops where it meets the lots
    of the book again as they are; without it, it runs to the end.
    ``vats``: keys of vats whose fills changed besides. With several parts of a milking, a cow's row
    goes to the part during which her cluster was put on; without that time to the first part, which
    is carried into the later ones (MilkingPart links the milking with each of them).
    """
    changed = Rebuilt(vats=set(vats))
    named = {tank.pk for tank in tanks if tank is not None}
    # What is only written need not be waited for, statement by statement.
    with in_a_row():
        lock_tanks()
        if named:
            write(meeting.line_to_replay(named, since, until), changed)
        closure.rebuild_vats(changed.vats)
    return changed


@transaction.atomic
def rebuild_all() -> Rebuilt:
    """Compute every lot and every vat's lots again; on a right book nothing changes."""
    lock_tanks()
    filled = set(VatFill.objects.values_list("vat", flat=True))
    changed = Rebuilt(vats=filled)
    write(timeline.read_all(), changed)
    closure.rebuild_vats(changed.vats)
    return changed


def write(line: TimeLine, changed: Rebuilt) -> None:
    """Replay a time line and write what differs from the book."""
    replay = blend.replay(line.flows, line.washes, line.standing)
    book = book_of(line)
    old = read_rows([lot.pk for lot in book])
    match = identity.match(replay.lots, book, old.parts)
    before = {lot.pk: snapshot(lot) for lot in book}
    fill_in(replay.lots, match.rows, line)
    identity.make_void(match.gone)
    new_lots = [lot for lot in match.rows.values() if lot._state.adding]
    identity.christen(new_lots, line.numbers)
    insert_lots(new_lots)
    updated = [
        lot
        for lot in (*match.rows.values(), *match.gone)
        if lot.pk in before and before[lot.pk] != snapshot(lot)
    ]
    update_lots(updated)
    changed.lots |= {lot.pk for lot in (*new_lots, *updated)}
    keys = {lot.key: match.rows[lot.key].pk for lot in replay.lots}
    keys |= {lot.key: lot.key for lot in line.standing.values()}
    new = computed_rows(replay.lots, keys)
    identity.keep_heirs(old, new, match, replay.lots, keys, line.after())
    write_rows(old, new, replay.lots, keys, changed)


def snapshot(lot: MilkLot) -> tuple[Any, ...]:
    return tuple(getattr(lot, name) for name in COMPUTED)


def fill_in(
    lots: Iterable[blend.Lot], rows: Mapping[blend.LotKey, MilkLot], line: TimeLine
) -> None:
    """The columns of the rows that a replay gives."""
    for lot in lots:
        row = rows[lot.key]
        row.void = False
        row.opened_at, row.closed_at, row.ended_at = lot.opened_at, lot.closed_at, lot.ended_at
        row.kg, row.carried_kg = kilos(lot.grams), kilos(lot.carried)
        row.drawn_kg = kilos(lot.drawn)
    identity.name_origins(lots, rows, line.flows)


def computed_rows(lots: Iterable[blend.Lot], keys: Mapping[blend.LotKey, int]) -> Rows:
    """The rows that a replay gives; ``keys``: the key in the book of each lot."""
    rows = Rows()
    for lot in lots:
        pk = keys[lot.key]
        for (kind, number), weight in lot.parts().items():
            if kind == MILKING:
                rows.parts[pk, number] = kilos(weight)
        for parent, weight in lot.parents.items():
            rows.parents[pk, keys[parent]] = kilos(weight)
        for (kind, number), at, weight in lot.draws:
            first, kg = rows.draws.get((pk, kind, number), (at, Decimal(0)))
            rows.draws[pk, kind, number] = (first, kg + kilos(weight))
    return rows


def write_rows(
    old: Rows,
    new: Rows,
    lots: Iterable[blend.Lot],
    keys: Mapping[blend.LotKey, int],
    changed: Rebuilt,
) -> None:
    """Write the rows that differ, and what follows for meter rows and vats."""
    parts = write_pairs("milk_milkingpart", "lot_id", "milking_id", old.parts, new.parts)
    edges = write_pairs("milk_lotparent", "lot_id", "parent_id", old.parents, new.parents)
    changed.lots |= {lot for lot, _ in (*parts, *edges)}
    fills, trays = write_draws(old, new)
    changed.vats |= closure.vats_of(fills, trays) | closure.vats_below(changed.lots)
    assign_cows(milkings_to_assign(old, new), lots, keys)


def write_draws(old: Rows, new: Rows) -> tuple[set[int], set[int]]:
    """Write the draws that differ; the fills and trays (keys) they belong to."""
    gone = [key for key, row in old.draws.items() if new.draws.get(key) != row]
    come = [key for key, row in new.draws.items() if old.draws.get(key) != row]
    if gone:
        LotDraw.objects.filter(pk__in=[old.draw_ids[key] for key in gone]).delete()
    LotDraw.objects.bulk_create(
        [
            LotDraw(lot_id=lot, at=at, kg=kg, **{f"{kind}_id": number})
            for (lot, kind, number), (at, kg) in ((key, new.draws[key]) for key in come)
        ],
        batch_size=BATCH,
    )
    named = {(kind, number) for _, kind, number in (*gone, *come)}
    fills = {number for kind, number in named if kind == timeline.FILL}
    trays = {number for kind, number in named if kind == timeline.TRAY}
    return fills, trays


def milkings_to_assign(old: Rows, new: Rows) -> set[int]:
    """Milkings (keys) whose cows may have to go to another lot than before."""
    was, now = lots_by_milking(old), lots_by_milking(new)
    return {
        milking
        for milking in {*was, *now}
        if was.get(milking) != now.get(milking) or len(now.get(milking, ())) > 1
    }


def lots_by_milking(rows: Rows) -> dict[int, set[int]]:
    found: dict[int, set[int]] = defaultdict(set)
    for lot, milking in rows.parts:
        found[milking].add(lot)
    return found


def assign_cows(
    milkings: Collection[int], lots: Iterable[blend.Lot], keys: Mapping[blend.LotKey, int]
) -> None:
    """Put the meter rows of these milkings (keys) to the part in which each cow was milked."""
    found: dict[int, list[tuple[datetime, int]]] = defaultdict(list)
    for lot in lots:
        for (kind, milking), at, _ in lot.ins:
            if kind == MILKING and milking in milkings:
                found[milking].append((at, keys[lot.key]))
    rows: list[tuple[int, int, int, int]] = []
    for milking, pieces in found.items():
        began = pieces[0][0]
        seconds = [int((at - began).total_seconds()) for at, _ in pieces]
        bounds = [FIRST_SECOND, *seconds[1:], PAST_LAST_SECOND]
        for (_, number), since, until in zip(pieces, bounds, bounds[1:], strict=False):
            rows.append((milking, number, since, until))
    if rows:
        columns = map(list, zip(*rows, strict=True))
        send(ASSIGN, dict(zip(PART_COLUMNS, columns, strict=True))).close()
    gone = sorted(set(milkings) - set(found))
    if gone:
        send(UNASSIGN, [gone]).close()


def left_in(lot: MilkLot) -> Decimal:
    """kg of a lot that the book says are in its tank still (below 0: more drawn than came in)."""
    left: Decimal = lot.kg + lot.carried_kg - lot.drawn_kg
    return left
