"""The statements of a trace, and the reader that runs them.

Every step takes explicit arrays of ids or literal bounds, one step a statement, so that the plan
stays an index probe however long the history is: joined to a WITH or to a long list, the planner
misjudges the counts and reads whole tables. ``OFFSET 0`` keeps a probe a probe. All ids are the
database's own; kg are float8, times timestamptz. ``tests/milk/test_trace_plans.py`` reads the
plans.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple

from config.asking import Rows, ahead, ask
from milk.trace_below_sql import ALL_BELOW, LOTS_BELOW

KEPT_OUT = 1

# The dated rule of a name that holds on a day.
RULE = """
SELECT value::float8 FROM herd_periodrule
WHERE name = %(name)s AND struck_at IS NULL AND valid_from <= %(day)s
ORDER BY valid_from DESC, id DESC LIMIT 1
"""

# Lots above the given ones: what was carried over into them, at any share, also at 0 kg.
LOTS_ABOVE = """
WITH RECURSIVE above (lot_id) AS (
    (SELECT unnest(%(lots)s::int4[])
     UNION SELECT lot_id FROM milk_vatlot WHERE vat_id = %(vat)s::int4)
    UNION
    SELECT p.parent_id FROM above
    CROSS JOIN LATERAL (
        SELECT parent_id FROM milk_lotparent WHERE lot_id = above.lot_id OFFSET 0) AS p
)
SELECT l.id, l.uuid, l.code, l.tank_id, t.name, l.day, l.session, l.opened_at, l.closed_at,
       l.ended_at, l.kg::float8, l.carried_kg::float8, l.drawn_kg::float8, l.void,
       e.parents, e.kilos, v.kg::float8, s.names
FROM milk_milklot AS l
JOIN milk_tank AS t ON t.id = l.tank_id
LEFT JOIN milk_vatlot AS v ON v.vat_id = %(vat)s::int4 AND v.lot_id = l.id
LEFT JOIN LATERAL (
    SELECT array_agg(parent_id) AS parents, array_agg(kg::float8) AS kilos
    FROM milk_lotparent WHERE lot_id = l.id) AS e ON true
LEFT JOIN LATERAL (
    SELECT array_agg(DISTINCT h.name) AS names
    FROM milk_delivery AS d JOIN herd_holding AS h ON h.id = d.holding_id
    WHERE d.id = l.delivery_id) AS s ON true
WHERE l.id = ANY(ARRAY(SELECT lot_id FROM above))
ORDER BY l.opened_at, l.id
"""

# Each part of the lots with its milking, and whether meter rows tell whose milk it is.
MILKINGS_OF_LOTS = """
SELECT p.lot_id, p.kg::float8, m.metered AND EXISTS (
           SELECT FROM milk_cowmilking
           WHERE milking_id = p.milking_id AND lot_id = p.lot_id OFFSET 0),
       m.*
FROM milk_milkingpart AS p
CROSS JOIN LATERAL (
    SELECT m.id, m.uuid, m.group_id, g.number, m.happened_at, m.day, m.session, m.metered
    FROM milk_milking AS m JOIN herd_group AS g ON g.id = m.group_id
    WHERE m.id = p.milking_id AND m.struck_at IS NULL OFFSET 0) AS m
WHERE p.lot_id = ANY(%(lots)s::int4[])
ORDER BY m.happened_at, m.id, p.lot_id
"""

# What each milking's group was fed in the hours before it, milking by milking.
FEEDINGS_BEFORE = """
SELECT m.milking_id, f.id, f.happened_at, f.kg, f.weighed, f.batch_id, f.feed_lot_id
FROM unnest(%(milkings)s::int4[], %(groups)s::int4[], %(starts)s::timestamptz[])
     AS m (milking_id, group_id, at)
CROSS JOIN LATERAL (
    SELECT id, happened_at, kg::float8, weighed, batch_id, feed_lot_id FROM feed_feeding
    WHERE struck_at IS NULL AND group_id = m.group_id
      AND happened_at >= m.at - %(before)s::interval AND happened_at <= m.at
    OFFSET 0) AS f
ORDER BY f.happened_at, f.id
"""

# Whether a load of which something is left was fed between two moments. Most traces are of days
# whose loads are long used up, and need not ask further.
OPEN_LOAD_FED = """
SELECT FROM feed_foragebatch AS b
WHERE b.struck_at IS NULL AND b.done_at IS NULL AND EXISTS (
    SELECT FROM feed_feeding
    WHERE batch_id = b.id AND struck_at IS NULL
      AND happened_at >= %(first)s AND happened_at <= %(last)s OFFSET 0)
LIMIT 1
"""

# The last column: whether something is left of a load, of which nobody wrote where it went.
FEEDS = """
SELECT 'load', b.id, b.uuid, '', f.name, b.happened_at, b.deadline,
       b.struck_at IS NULL AND b.done_at IS NULL
FROM feed_foragebatch AS b JOIN feed_field AS f ON f.id = b.field_id
WHERE b.id = ANY(%(batches)s::int4[])
UNION ALL
SELECT l.kind, l.id, l.uuid, l.name, COALESCE(h.name, f.name), l.happened_at, NULL, false
FROM feed_feedlot AS l
LEFT JOIN herd_holding AS h ON h.id = l.supplier_id
LEFT JOIN feed_field AS f ON f.id = l.field_id
WHERE l.id = ANY(%(feed_lots)s::int4[])
"""

WHEELS_OF_VATS = """
SELECT w.id, w.uuid, w.plate, w.twin, w.kg::float8, w.vat_id
FROM milk_wheel AS w
WHERE w.vat_id = ANY(%(vats)s::int4[]) AND w.struck_at IS NULL
ORDER BY w.vat_id, w.twin
"""

# A cow's milkings between two moments: what her meter row says, and the parts of the milking. The
# milkings come by time, so her whole life is not read.
METERED_BETWEEN = """
SELECT m.id, m.uuid, m.group_id, g.number, m.happened_at, m.day, m.session, m.metered, m.tank_id,
       c.lot_id, c.grams, c.goes, c.at_s
FROM milk_milking AS m
JOIN herd_group AS g ON g.id = m.group_id
CROSS JOIN LATERAL (
    SELECT lot_id, grams, goes, at_s FROM milk_cowmilking
    WHERE animal_id = %(animal)s::int4 AND milking_id = m.id OFFSET 0) AS c
WHERE m.struck_at IS NULL AND m.happened_at >= %(first)s AND m.happened_at < %(last)s
ORDER BY m.happened_at, m.id
"""

METERED_EVER = """
SELECT m.id, m.uuid, m.group_id, g.number, m.happened_at, m.day, m.session, m.metered, m.tank_id,
       c.lot_id, c.grams, c.goes, c.at_s
FROM (SELECT milking_id, lot_id, grams, goes, at_s FROM milk_cowmilking
      WHERE animal_id = %(animal)s::int4 OFFSET 0) AS c
CROSS JOIN LATERAL (
    SELECT id, uuid, group_id, happened_at, day, session, metered, tank_id FROM milk_milking
    WHERE id = c.milking_id AND struck_at IS NULL OFFSET 0) AS m
JOIN herd_group AS g ON g.id = m.group_id
ORDER BY m.happened_at, m.id
"""

# Milkings of the groups an animal stood in, for which no row tells where her own milk went.
STOOD_BY = """
SELECT m.id, m.uuid, m.group_id, g.number, m.happened_at, m.day, m.session, m.metered, m.tank_id
FROM (SELECT group_id, during FROM herd_groupstay
      WHERE animal_id = %(animal)s::int4 AND struck_at IS NULL AND group_id IS NOT NULL
        AND during && tstzrange(%(first)s, %(last)s)) AS s
CROSS JOIN LATERAL (
    SELECT id, uuid, group_id, happened_at, day, session, metered, tank_id FROM milk_milking
    WHERE group_id = s.group_id AND struck_at IS NULL
      AND happened_at >= GREATEST(lower(s.during), %(first)s)
      AND happened_at < LEAST(upper(s.during), %(last)s)
    OFFSET 0) AS m
JOIN herd_group AS g ON g.id = m.group_id
LEFT JOIN LATERAL (
    SELECT lot_id, goes FROM milk_cowmilking
    WHERE animal_id = %(animal)s::int4 AND milking_id = m.id OFFSET 0) AS c ON true
WHERE c.goes IS NULL OR (c.goes = 0 AND c.lot_id IS NULL)
ORDER BY m.happened_at, m.id
"""

# Milkings of groups, each between two moments of its own (both included), with their parts; one
# of which nobody wrote where the milk went has none. Spans of a group must not overlap.
_MILKINGS = """
SELECT m.id, m.uuid, m.group_id, g.number, m.happened_at, m.day, m.session, m.metered,
       m.tank_id, p.lot_id, p.kg::float8
FROM ({spans}) AS s (group_id, first, last)
CROSS JOIN LATERAL (
    SELECT id, uuid, group_id, happened_at, day, session, metered, tank_id FROM milk_milking
    WHERE group_id = s.group_id AND struck_at IS NULL
      AND happened_at >= GREATEST(s.first, %(since)s) AND happened_at < %(until)s
      AND happened_at <= s.last
    OFFSET 0) AS m
JOIN herd_group AS g ON g.id = m.group_id
LEFT JOIN LATERAL (
    SELECT lot_id, kg FROM milk_milkingpart WHERE milking_id = m.id OFFSET 0) AS p ON true
ORDER BY m.happened_at, m.id
"""
_GIVEN = """SELECT * FROM
    unnest(%(groups)s::int4[], %(firsts)s::timestamptz[], %(lasts)s::timestamptz[])"""
MILKINGS_BETWEEN = _MILKINGS.format(spans=_GIVEN)

# The same of the groups that were fed of loads or feed lots, so that nobody waits for the feedings
# first: within the time given, or that of the dated rule, after each.
_AFTER_FEED = f"""
    SELECT group_id, lower(during), upper(during)
    FROM (SELECT group_id,
                 unnest(range_agg(tstzrange(happened_at, happened_at + r.before, '[]'))) AS during
          FROM (SELECT group_id, happened_at FROM feed_feeding
                WHERE batch_id = ANY(%(batches)s::int4[]) AND struck_at IS NULL
                UNION ALL
                SELECT group_id, happened_at FROM feed_feeding
                WHERE feed_lot_id = ANY(%(feed_lots)s::int4[]) AND struck_at IS NULL) AS f
          CROSS JOIN (
              SELECT COALESCE(%(before)s::interval, ({RULE}) * interval '1 hour',
                              %(without)s::interval) OFFSET 0) AS r (before)
          GROUP BY group_id) AS spans"""
MILKINGS_OF_FEED = _MILKINGS.format(spans=_AFTER_FEED)

PARTS_OF_MILKINGS = """
SELECT milking_id, lot_id, kg::float8
FROM milk_milkingpart WHERE milking_id = ANY(%(milkings)s::int4[])
"""

# Which of these parts has meter rows at all.
PARTS_WITH_ROWS = """
SELECT p.milking_id, p.lot_id
FROM unnest(%(milkings)s::int4[], %(lots)s::int4[]) AS p (milking_id, lot_id)
WHERE EXISTS (
    SELECT FROM milk_cowmilking AS c
    WHERE c.lot_id = p.lot_id AND c.milking_id = p.milking_id OFFSET 0)
"""

# How much of a part no meter weighed, and among how many animals it is shared out.
HEADS = """
SELECT p.milking_id, p.lot_id, k.kg, r.grams, r.without + s.animals
FROM unnest(%(milkings)s::int4[], %(lots)s::int4[], %(groups)s::int4[], %(starts)s::timestamptz[],
            %(stood)s::bool[]) AS p (milking_id, lot_id, group_id, at, stood)
LEFT JOIN LATERAL (
    SELECT kg::float8 FROM milk_milkingpart
    WHERE lot_id = p.lot_id AND milking_id = p.milking_id OFFSET 0) AS k ON true
CROSS JOIN LATERAL (
    SELECT sum(grams) AS grams, count(*) FILTER (WHERE grams IS NULL) AS without
    FROM milk_cowmilking WHERE lot_id = p.lot_id AND milking_id = p.milking_id) AS r
CROSS JOIN LATERAL (
    SELECT count(*) AS animals
    FROM (SELECT animal_id FROM herd_groupstay
          WHERE p.stood AND struck_at IS NULL AND during @> p.at
            AND int8range(group_id, group_id, '[]') && int8range(p.group_id, p.group_id, '[]')
          OFFSET 0) AS s
    LEFT JOIN LATERAL (
        SELECT lot_id, goes FROM milk_cowmilking
        WHERE animal_id = s.animal_id AND milking_id = p.milking_id OFFSET 0) AS c ON true
    WHERE c.goes IS NULL OR (c.goes = 0 AND c.lot_id IS NULL)) AS s
"""

# The same with all that was fed of them; one that was not fed has one row.
FEEDS_FED = f"""
SELECT w.*, f.group_id, g.number, f.happened_at, f.kg, f.weighed
FROM ({FEEDS}) AS w (kind, id, uuid, label, origin, at, deadline, open)
LEFT JOIN LATERAL (
    SELECT id, group_id, happened_at, kg::float8, weighed FROM feed_feeding
    WHERE w.kind = 'load' AND batch_id = w.id AND struck_at IS NULL
    UNION ALL
    SELECT id, group_id, happened_at, kg::float8, weighed FROM feed_feeding
    WHERE w.kind <> 'load' AND feed_lot_id = w.id AND struck_at IS NULL) AS f ON true
LEFT JOIN herd_group AS g ON g.id = f.group_id
ORDER BY f.happened_at, f.id
"""

PERIODS_OF_COURSE = """
SELECT animal_id, lower(during), upper(during), kind, why, source, course_id
FROM herd_withdrawalperiod WHERE course_id = %(course)s::int4 AND NOT isempty(during)
ORDER BY lower(during)
"""


class LotRow(NamedTuple):
    """One lot as the statements LOTS_ABOVE and LOTS_BELOW give it; kg floats."""

    pk: int
    uuid: Any
    code: str
    tank_id: int
    tank: str
    day: Any
    session: str
    opened_at: datetime
    closed_at: datetime | None
    ended_at: datetime | None
    kg: float
    carried_kg: float
    drawn_kg: float
    void: bool
    parent_ids: list[int] | None
    parent_kilos: list[float] | None
    in_vat: float | None
    suppliers: list[str] | None

    @property
    def edges(self) -> list[tuple[int, float]]:
        """(parent, kg carried over) of every parent."""
        return list(zip(self.parent_ids or (), self.parent_kilos or (), strict=True))

    @property
    def whole(self) -> float:
        """kg of the mixture: own milk and what was carried over."""
        return self.kg + sum(self.parent_kilos or ())


class Reader:
    """Runs the statements of one trace on Django's connection, with binary answers, and keeps them.

    ``asked``: every statement with its values, in order; the tests read plans and counts from it.
    """

    def __init__(self) -> None:
        self.asked: list[tuple[str, dict[str, Any]]] = []

    def ahead(self, statement: str, **values: Any) -> None:
        """Send a statement whose rows will be wanted, before they are; within ``in_a_row``."""
        ahead(statement, values)

    def rows(self, statement: str, **values: Any) -> Rows:
        """The rows of one statement; lists of numbers, moments or flags become arrays."""
        self.asked.append((statement, values))
        return ask(statement, values)

    def lots_above(self, lots: Sequence[int], vat: int | None = None) -> list[LotRow]:
        """The lots of a vat, or the given ones, and everything carried over into them."""
        return [LotRow._make(row) for row in self.rows(LOTS_ABOVE, lots=list(lots), vat=vat)]

    def lots_below(self, lots: list[int]) -> list[LotRow]:
        """The given lots and everything they were carried over into."""
        return [LotRow._make(row) for row in self.rows(LOTS_BELOW, lots=lots)]

    def below_ahead(self, lots: list[int]) -> None:
        """Ask for all that is below some lots already."""
        for statement in ALL_BELOW if lots else ():
            self.ahead(statement, lots=lots)
