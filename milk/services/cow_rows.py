"""The meter rows of milkings, written many at a time, each to the lot its milk went into."""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

from django.utils import timezone

from config.asking import ask, copy_lines
from herd.models import Animal
from herd.models.animals import called
from milk.models import CowMilking, Milking
from milk.services.arrivals import NOTE_CAME, note_first

# Looked up once: what a name of an enumeration stands for is asked of it anew each time.
TANK = CowMilking.Goes.TANK.value

# A file sent twice brings each row once; those that are new came now, and the book says so.
INSERT = f"""
    WITH came AS (
    INSERT INTO milk_cowmilking (animal_id, milking_id, lot_id, upload_id, grams, at_s, goes)
    SELECT animal, milking, lot, upload, grams, at_s, goes
    FROM unnest(%(animal)s::int[], %(milking)s::int[], %(lot)s::int[], %(upload)s::int[],
                %(grams)s::int[], %(at_s)s::int2[], %(goes)s::int2[])
         AS row(animal, milking, lot, upload, grams, at_s, goes)
    ON CONFLICT (animal_id, milking_id) DO NOTHING
    RETURNING animal_id AS animal, milking_id AS milking
    ), noted AS ({NOTE_CAME})
    SELECT count(*) FROM came
"""
PARTS = """
    SELECT p.milking_id, l.opened_at, l.id
    FROM milk_milkingpart AS p JOIN milk_milklot AS l ON l.id = p.lot_id
    WHERE p.milking_id = ANY(%(milkings)s::int4[]) ORDER BY l.opened_at, l.id
"""
# The rows of new milkings: none of them can be there already.
COPY = """
    COPY milk_cowmilking (animal_id, milking_id, lot_id, upload_id, grams, at_s, goes) FROM STDIN
"""
NULL = "\\N"


class NamedCow(NamedTuple):
    """A standing animal as far as her row needs to know her; a file of rows names thousands."""

    id: int
    farm_number: int | None
    ear_tag: str
    struck_at: datetime | None = None

    def __str__(self) -> str:
        return called(self.farm_number, self.ear_tag)


Cow = Animal | NamedCow


@dataclass(frozen=True, kw_only=True)
class CowRow:
    """What a meter read: ``grams`` (None: not measured), ``at_s``: seconds after the milking began
    at which the cluster was put on her (None: not known), ``goes``: CowMilking.Goes.
    """

    animal: Cow
    grams: int | None = None
    at_s: int | None = None
    goes: int = CowMilking.Goes.TANK


def insert_new(milked: Sequence[tuple[Milking, Sequence[CowRow]]]) -> None:
    """Write the meter rows of milkings that were written just now, each to its part's lot."""
    with_rows = [(milking, rows) for milking, rows in milked if rows]
    if with_rows:
        parts = parts_by_milking([milking for milking, _ in with_rows])
        copy_lines(COPY, ("".join(lines_of(*one, parts[one[0].pk])) for one in with_rows))
        note_first([milking.pk for milking, _ in with_rows])


def lines_of(
    milking: Milking, rows: Iterable[CowRow], parts: Sequence[tuple[float, int]]
) -> Iterator[str]:
    """The meter rows of a milking as COPY takes them."""
    number, upload = milking.pk, or_null(milking.upload_id)
    for row in rows:
        lot = or_null(lot_for(row.goes, row.at_s, parts))
        grams, at_s = or_null(row.grams), or_null(row.at_s)
        yield f"{row.animal.id}\t{number}\t{lot}\t{upload}\t{grams}\t{at_s}\t{int(row.goes)}\n"


def or_null(value: int | None) -> int | str:
    return NULL if value is None else value


def insert_rows(milking: Milking, rows: Sequence[CowRow]) -> int:
    """Insert meter rows, each to its part's lot; rows that are there stay. The number inserted."""
    if not rows:
        return 0
    parts = parts_of(milking)
    columns: dict[str, list[Any]] = {
        "milking": [milking.pk for _ in rows],
        "upload": [milking.upload_id for _ in rows],
        "animal": [row.animal.id for row in rows],
        "lot": [lot_for(row.goes, row.at_s, parts) for row in rows],
        "grams": [row.grams for row in rows],
        "at_s": [row.at_s for row in rows],
        "goes": [int(row.goes) for row in rows],
    }
    ((came,),) = ask(INSERT, {**columns, "now": timezone.now()})
    return int(came)


def parts_by_milking(milkings: Collection[Milking]) -> dict[int, list[tuple[float, int]]]:
    """The parts of each milking (key): seconds after its start at which one begins, and its lot.

    A part begins with the milking or with the opening of its lot, whichever is later.
    """
    found: dict[int, list[tuple[float, int]]] = {milking.pk: [] for milking in milkings}
    began = {milking.pk: milking.happened_at for milking in milkings}
    for milking, opened, lot in ask(PARTS, {"milkings": list(found)}):
        found[milking].append(((opened - began[milking]).total_seconds(), lot))
    return found


def parts_of(milking: Milking) -> list[tuple[float, int]]:
    """The parts of one milking."""
    return parts_by_milking([milking])[milking.pk]


def lot_for(goes: int, at_s: int | None, parts: Sequence[tuple[float, int]]) -> int | None:
    """The lot (key) of a cow's row: her part's, or the first part's when her time is not known."""
    if goes != TANK or not parts:
        return None
    if len(parts) == 1:
        return parts[0][1]
    begun = [lot for since, lot in parts if at_s is not None and since <= at_s]
    return begun[-1] if begun else parts[0][1]
