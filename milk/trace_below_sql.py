"""The statements of a way forward: the lots below some, and what became of all of these.

Each finds the lots below by itself, a few probes of an index, so that all are asked at once with
the same lots and nobody waits for one to ask the next. As those of ``milk.trace_sql``.
"""

# What the given lots were carried over into, at any share, also at 0 kg, and these themselves.
BELOW = """
WITH RECURSIVE below (lot_id) AS (
    SELECT unnest(%(lots)s::int4[])
    UNION
    SELECT c.lot_id FROM below
    CROSS JOIN LATERAL (
        SELECT lot_id FROM milk_lotparent WHERE parent_id = below.lot_id OFFSET 0) AS c
)"""
LOTS = "ANY(ARRAY(SELECT lot_id FROM below))"
VATS = f"ANY(ARRAY(SELECT vat_id FROM milk_vatlot WHERE lot_id = {LOTS}))"

# With the edges among them.
LOTS_BELOW = f"""{BELOW}
SELECT l.id, l.uuid, l.code, l.tank_id, t.name, l.day, l.session, l.opened_at, l.closed_at,
       l.ended_at, l.kg::float8, l.carried_kg::float8, l.drawn_kg::float8, l.void,
       e.parents, e.kilos, NULL::float8, NULL::text[]
FROM milk_milklot AS l
JOIN milk_tank AS t ON t.id = l.tank_id
LEFT JOIN LATERAL (
    SELECT array_agg(parent_id) AS parents, array_agg(kg::float8) AS kilos
    FROM milk_lotparent WHERE lot_id = l.id) AS e ON true
WHERE l.id = {LOTS}
ORDER BY l.opened_at, l.id
"""

VATS_BELOW = f"""{BELOW}
SELECT x.vat_id, x.lot_id, x.kg::float8, v.uuid, v.day, v.number, v.round, v.happened_at
FROM milk_vatlot AS x
JOIN (SELECT id, uuid, day, number, round, happened_at FROM milk_vat
      WHERE id = {VATS} AND struck_at IS NULL OFFSET 0) AS v ON v.id = x.vat_id
WHERE x.lot_id = {LOTS}
ORDER BY v.happened_at, x.vat_id
"""

WHEELS_BELOW = f"""{BELOW}
SELECT w.id, w.uuid, w.plate, w.twin, w.kg::float8, w.vat_id
FROM milk_wheel AS w
WHERE w.vat_id = {VATS} AND w.struck_at IS NULL
ORDER BY w.vat_id, w.twin
"""

# Draws that went elsewhere than straight into a vat.
DRAWS_BELOW = f"""{BELOW}
SELECT d.lot_id, d.at, d.kg, d.tray_id, e.uuid, e.what, e.name, e.whole, e.cream
FROM (SELECT lot_id, at, kg::float8, tray_id, tank_event_id, delivery_id FROM milk_lotdraw
      WHERE lot_id = {LOTS} AND vat_fill_id IS NULL OFFSET 0) AS d
CROSS JOIN LATERAL (
    SELECT t.uuid, 'tray' AS what, t.number::text AS name, w.kg AS whole,
           t.cream_kg::float8 AS cream
    FROM milk_tray AS t, LATERAL (
        SELECT sum(kg)::float8 AS kg FROM milk_lotdraw WHERE tray_id = t.id) AS w
    WHERE t.id = d.tray_id
    UNION ALL
    SELECT t.uuid, t.what, COALESCE(o.name, t.remark), NULL, NULL
    FROM milk_tankevent AS t LEFT JOIN milk_tank AS o ON o.id = t.to_tank_id
    WHERE t.id = d.tank_event_id
    UNION ALL
    SELECT t.uuid, 'delivery', h.name, NULL, NULL
    FROM milk_delivery AS t JOIN herd_holding AS h ON h.id = t.holding_id
    WHERE t.id = d.delivery_id) AS e
ORDER BY d.at
"""

POURED_FROM_TRAYS = """
SELECT tray_id, sum(kg)::float8 FROM milk_vatfill
WHERE tray_id = ANY(%(trays)s::int4[]) AND struck_at IS NULL GROUP BY tray_id
"""

# In the order in which they are wanted.
ALL_BELOW = (LOTS_BELOW, VATS_BELOW, WHEELS_BELOW, DRAWS_BELOW)
