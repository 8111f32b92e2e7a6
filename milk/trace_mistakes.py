"""Cows milked into a tank by mistake: in which lots their milk is. Reads only.

Such a cow has no meter row and her group's milk went elsewhere, so only the entry of the mistake
says that she is in it. Her milk is in the lot that stood in the tank, or, when the book knew none,
in the first that came into it before it was washed.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from config.days import estate_zone
from herd.models.groups import Session
from milk.trace_parts import MilkingIn
from milk.trace_sql import LotRow, Reader

NOON = 12

# Of the lot before her moment and the one after it, the first that had not ended by then.
MISTAKES = """
SELECT w.id, w.uuid, COALESCE(g.id, 0), COALESCE(g.number, 0), w.happened_at, w.tank_id,
       w.animal_id, w.kg, l.id
FROM (SELECT id, uuid, group_id, happened_at, tank_id, animal_id, kg::float8 FROM milk_wrongcow
      WHERE struck_at IS NULL AND animal_id IS NOT NULL AND {which} OFFSET 0) AS w
LEFT JOIN LATERAL (
    SELECT id, opened_at FROM (
        (SELECT id, opened_at, ended_at FROM milk_milklot
         WHERE tank_id = w.tank_id AND NOT void AND opened_at <= w.happened_at
         ORDER BY opened_at DESC, ended_at DESC NULLS FIRST, id DESC LIMIT 1)
        UNION ALL
        (SELECT id, opened_at, ended_at FROM milk_milklot
         WHERE tank_id = w.tank_id AND NOT void AND opened_at > w.happened_at
         ORDER BY opened_at, id LIMIT 1)) AS near
    WHERE (ended_at IS NULL OR ended_at > w.happened_at) AND NOT EXISTS (
        SELECT FROM milk_tankevent
        WHERE tank_id = w.tank_id AND struck_at IS NULL AND what IN ('washed', 'emptied')
          AND happened_at > w.happened_at AND happened_at <= near.opened_at)
    ORDER BY opened_at LIMIT 1) AS l ON true
LEFT JOIN LATERAL (
    SELECT group_id FROM herd_groupstay
    WHERE animal_id = w.animal_id AND struck_at IS NULL AND during @> w.happened_at
    LIMIT 1) AS s ON true
LEFT JOIN herd_group AS g ON g.id = COALESCE(w.group_id, s.group_id)
ORDER BY w.happened_at, w.id
"""
IN_TANKS = MISTAKES.format(which="tank_id = ANY(%(tanks)s::int4[]) AND happened_at < %(last)s")
OF_ANIMAL = MISTAKES.format(
    which="animal_id = %(animal)s::int4 AND happened_at >= %(first)s AND happened_at < %(last)s"
)


class Mistake(NamedTuple):
    """An animal milked by mistake; ``lot`` (key) None: no milk is known that hers is in."""

    milking: MilkingIn
    animal: int
    kg: float | None
    lot: int | None


def mistakes_in(reader: Reader, rows: Sequence[LotRow]) -> list[Mistake]:
    """The animals milked into these lots by mistake."""
    lots = {row.pk for row in rows}
    if not lots:
        return []
    found = made(reader.rows(IN_TANKS, **tanks_asked(rows)))
    return [mistake for mistake in found if mistake.lot in lots]


def tanks_asked(rows: Sequence[LotRow]) -> dict[str, Any]:
    """What IN_TANKS is asked: the tanks of lots, and until when milk came into them."""
    last = max(row.ended_at or datetime.max.replace(tzinfo=row.opened_at.tzinfo) for row in rows)
    return {"tanks": sorted({row.tank_id for row in rows}), "last": last}


def mistakes_of(reader: Reader, animal: int, first: datetime, last: datetime) -> list[Mistake]:
    """When an animal was milked by mistake in [first, last), and into which lots."""
    return made(reader.rows(OF_ANIMAL, animal=animal, first=first, last=last))


def made(rows: Iterable[Any]) -> list[Mistake]:
    return [
        Mistake(milking_of(pk, uuid, group, number, at, tank), animal, kg, lot)
        for pk, uuid, group, number, at, tank, animal, kg, lot in rows
    ]


def milking_of(pk: int, uuid: Any, group: int, number: int, at: datetime, tank: int) -> MilkingIn:
    """The mistake told as a milking of hers; its key is below 0, for it is none of a group."""
    here = at.astimezone(estate_zone())
    session = Session.MORNING if here.hour < NOON else Session.EVENING
    return MilkingIn(
        -pk, uuid, group, number, at, here.date(), session, False, tank, by_mistake=True
    )
