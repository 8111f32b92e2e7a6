"""The computed rows of lots in the book: those of a time line read, and what differs written.

A few statements for all of them, however many lots there are.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from functools import cache
from typing import Any

from config.asking import ask, fetched, in_a_row, send
from milk.models import MilkLot
from milk.services import timeline
from milk.services.timeline import TimeLine

Pair = tuple[int, int]
DrawKey = tuple[int, str, int]
# What a rebuild writes of a lot, and what is given once; with the types of the columns.
COMPUTED = {
    "day": "date", "session": "text",
    "milking_id": "int4", "delivery_id": "int4", "move_id": "int4",
    "opened_at": "timestamptz", "closed_at": "timestamptz", "ended_at": "timestamptz",
    "kg": "numeric", "carried_kg": "numeric", "drawn_kg": "numeric", "void": "bool",
}  # fmt: skip
GIVEN = {"uuid": "uuid", "code": "text", "tank_id": "int4"}
ATTRIBUTES = [str(column.attname) for column in MilkLot._meta.concrete_fields]
DRAWS = (timeline.FILL, timeline.TRAY, timeline.EVENT, timeline.DELIVERY)


def arrays(types: dict[str, str]) -> str:
    return ", ".join(f"%({name})s::{kind}[]" for name, kind in types.items())


ADDED = {**GIVEN, **COMPUTED}
INSERT = f"""
    INSERT INTO milk_milklot ({", ".join(ADDED)})
    SELECT * FROM unnest({arrays(ADDED)}) RETURNING uuid, id
"""
UPDATE = f"""
    UPDATE milk_milklot AS l SET {", ".join(f"{name} = new.{name}" for name in COMPUTED)}
    FROM unnest(%(id)s::int4[], {arrays(COMPUTED)}) AS new (id, {", ".join(COMPUTED)})
    WHERE l.id = new.id
"""
PARTS = """
    SELECT lot_id, milking_id, kg FROM milk_milkingpart WHERE lot_id = ANY(%(lots)s::int4[])
"""
PARENTS = """
    SELECT e.lot_id, e.parent_id, e.kg, parent.void
    FROM milk_lotparent AS e JOIN milk_milklot AS parent ON parent.id = e.parent_id
    WHERE e.lot_id = ANY(%(lots)s::int4[])
"""
DRAWN = f"""
    SELECT id, lot_id, at, kg, {", ".join(f"{kind}_id" for kind in DRAWS)}
    FROM milk_lotdraw WHERE lot_id = ANY(%(lots)s::int4[])
"""


@dataclass
class Rows:
    """The computed rows of some lots, as they are or as they are to be.

    ``void``: those of the parents in the book (keys) that are void.
    """

    parts: dict[Pair, Decimal] = field(default_factory=dict)
    parents: dict[Pair, Decimal] = field(default_factory=dict)
    draws: dict[DrawKey, tuple[datetime, Decimal]] = field(default_factory=dict)
    draw_ids: dict[DrawKey, int] = field(default_factory=dict)
    void: set[int] = field(default_factory=set)


@cache
def lots_of(tanks: int) -> str:
    """The statement for the lots of so many tanks, each from a moment on to another."""
    whose = " OR ".join(
        f"tank_id = %(tank{n})s::int4 AND opened_at >= %(since{n})s AND opened_at < %(until{n})s"
        for n in range(tanks)
    )
    columns = ", ".join(str(column.column) for column in MilkLot._meta.concrete_fields)
    return f"SELECT {columns} FROM milk_milklot WHERE {whose} ORDER BY opened_at, id"


def book_of(line: TimeLine) -> list[MilkLot]:
    """The lots of the book that a time line replays, void ones too, in order of opening."""
    if not line.starts:
        return []
    values: dict[str, Any] = {}
    for n, (tank, start) in enumerate(line.starts.items()):
        until = line.ends.get(tank, timeline.END)
        values |= {f"tank{n}": tank, f"since{n}": start, f"until{n}": until}
    found = ask(lots_of(len(line.starts)), values)
    return [MilkLot.from_db(None, ATTRIBUTES, row) for row in found]


def read_rows(lots: Collection[int]) -> Rows:
    """The computed rows of lots (keys) as they stand in the book."""
    rows, asked = Rows(), {"lots": list(lots)}
    if not lots:
        return rows
    with in_a_row():
        parts, parents, draws = (send(one, asked) for one in (PARTS, PARENTS, DRAWN))
        rows.parts = {(lot, milking): kg for lot, milking, kg in fetched(parts)}
        for lot, parent, kg, void in fetched(parents):
            rows.parents[lot, parent] = kg
            if void:
                rows.void.add(parent)
        for pk, lot, at, kg, *named in fetched(draws):
            kind, number = next(one for one in zip(DRAWS, named, strict=True) if one[1])
            rows.draws[lot, kind, number] = (at, kg)
            rows.draw_ids[lot, kind, number] = pk
    return rows


def insert_lots(lots: Sequence[MilkLot]) -> None:
    """Insert new lots; each has its key afterwards."""
    if not lots:
        return
    keys: dict[Any, int] = dict(ask(INSERT, columns_of(lots, ADDED)))
    for lot in lots:
        lot.pk = keys[lot.uuid]
        lot._state.adding = False


def update_lots(lots: Sequence[MilkLot]) -> None:
    """Write what is computed of lots that are in the book."""
    if lots:
        send(UPDATE, columns_of(lots, ["id", *COMPUTED])).close()


def columns_of(lots: Sequence[MilkLot], names: Iterable[str]) -> dict[str, list[Any]]:
    return {name: [getattr(lot, name) for lot in lots] for name in names}
