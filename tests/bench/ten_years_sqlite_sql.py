"""The statements of a trace in SQLite's words; the tables are those of ``ten_years_sqlite``."""

from milk.held_sql import NAMED
from milk.places import WHERE
from milk.trace_below_sql import (
    DRAWS_BELOW,
    LOTS_BELOW,
    POURED_FROM_TRAYS,
    VATS_BELOW,
    WHEELS_BELOW,
)
from milk.trace_inside_sql import (
    COUNTS,
    COUNTS_BETWEEN,
    COWS_OF_LOTS,
    METERED,
    PERIODS,
    PRESENT,
    SOME_COWS_OF_LOTS,
)
from milk.trace_mistakes import IN_TANKS
from milk.trace_sql import (
    FEEDINGS_BEFORE,
    FEEDS,
    FEEDS_FED,
    LOTS_ABOVE,
    MILKINGS_BETWEEN,
    MILKINGS_OF_FEED,
    MILKINGS_OF_LOTS,
    OPEN_LOAD_FED,
    RULE,
    WHEELS_OF_VATS,
)
from milk.whey import SECOND_RING


def given(name: str) -> str:
    """The numbers of a list that was bound."""
    return f"(SELECT value FROM json_each(:{name}))"


def asked(*names: str) -> str:
    """The rows of lists that belong together."""
    cells = (f"json_extract(value, '$[{place}]') AS {name}" for place, name in enumerate(names))
    return f"(SELECT {', '.join(cells)} FROM json_each(:asked))"


LOT = """l.id, l.uuid, l.code, l.tank, t.name, l.day, l.session, l.opened, l.closed, l.ended,
l.kg, l.carried, l.drawn, l.void,
(SELECT json_group_array(parent) FROM lotparent WHERE lot = l.id) AS "parents [list]",
(SELECT json_group_array(kg) FROM lotparent WHERE lot = l.id) AS "kilos [list]\""""
BELOW = """
WITH RECURSIVE below (lot) AS (
    SELECT value FROM json_each(:lots)
    UNION SELECT p.lot FROM below CROSS JOIN lotparent AS p ON p.parent = below.lot)"""
LOTS_OF_BELOW = "(SELECT lot FROM below)"
MILKED = "m.id, m.uuid, m.herd, g.number, m.began, m.day, m.session, m.metered"
STOOD = f"""{asked("milking", "herd", "at")} AS m
CROSS JOIN stood AS w ON w.herd <= m.herd AND w.herds >= m.herd
    AND w.since <= m.at / 1000000 AND w.until >= m.at / 1000000
JOIN stay AS s ON s.id = w.id AND s.since <= m.at AND (s.until IS NULL OR s.until > m.at)
"""
FIRST_IN_TANK = """
SELECT id FROM (
    SELECT * FROM (SELECT id, opened, ended FROM lot
                   WHERE tank = w.tank AND NOT void AND opened <= w.began
                   ORDER BY opened DESC, ended DESC NULLS FIRST, id DESC LIMIT 1)
    UNION ALL
    SELECT * FROM (SELECT id, opened, ended FROM lot
                   WHERE tank = w.tank AND NOT void AND opened > w.began
                   ORDER BY opened, id LIMIT 1)) AS near
WHERE (ended IS NULL OR ended > w.began) AND NOT EXISTS (
    SELECT 1 FROM tankevent WHERE tank = w.tank AND what IN ('washed', 'emptied')
    AND began > w.began AND began <= near.opened)
ORDER BY opened LIMIT 1"""
STEPS = " UNION ALL ".join(
    f"SELECT wheel, at, {rank} AS rank, written, id, '{what}' AS what, {place} AS place "
    f"FROM {table} WHERE wheel IN {given('wheels')}"
    for rank, what, table, place in (
        (0, "brine", "brinestay", "NULL"),
        (1, "out", "brineout", "NULL"),
        (2, "store", "storestay", "place"),
        (2, "lost", "storegap", "place"),
        (2, "sent", "dispatch", "NULL"),
        (2, "back", "wheelreturn", "NULL"),
        (2, "gone", "wheeldiscard", "NULL"),
    )
)
WHEY = f"""SELECT id, from_vat FROM startercan WHERE from_vat IN {given("vats")}
UNION ALL SELECT can, vat FROM wheyadded WHERE vat IN {given("vats")}"""
UP = f"""
WITH RECURSIVE of_vats (lot) AS (
    SELECT value FROM json_each(:lots) UNION SELECT lot FROM vatlot WHERE vat IN {given("vats")}
), up (lot, parent) AS (
    SELECT lot, parent FROM lotparent WHERE lot IN (SELECT lot FROM of_vats)
    UNION SELECT p.lot, p.parent FROM up CROSS JOIN lotparent AS p ON p.lot = up.parent)"""
LOTS = "(SELECT lot FROM of_vats UNION SELECT parent FROM up)"
COW = "SELECT lot, milking, animal, grams, at_s FROM cow"

# By the statement of the program.
SAID: dict[str, str] = {
    RULE: """SELECT value FROM rule WHERE name = :name AND valid_from <= :day
ORDER BY valid_from DESC, id DESC LIMIT 1""",
    LOTS_ABOVE: f"""
WITH RECURSIVE above (lot) AS (
    SELECT value FROM json_each(:lots) UNION SELECT lot FROM vatlot WHERE vat = :vat
    UNION SELECT p.parent FROM above CROSS JOIN lotparent AS p ON p.lot = above.lot)
SELECT {LOT}, v.kg,
(SELECT json_group_array(DISTINCT h.name) FROM delivery AS d JOIN holding AS h ON h.id = d.holding
 WHERE d.id = l.delivery) AS "names [list]"
FROM above CROSS JOIN lot AS l ON l.id = above.lot JOIN tank AS t ON t.id = l.tank
LEFT JOIN vatlot AS v ON v.vat = :vat AND v.lot = l.id ORDER BY l.opened, l.id""",
    LOTS_BELOW: f"""{BELOW}
SELECT {LOT}, NULL, NULL FROM below CROSS JOIN lot AS l ON l.id = below.lot
JOIN tank AS t ON t.id = l.tank ORDER BY l.opened, l.id""",
    MILKINGS_OF_LOTS: f"""
SELECT p.lot, p.kg, m.metered AND EXISTS (
    SELECT 1 FROM cow WHERE milking = p.milking AND lot = p.lot), {MILKED}
FROM part AS p CROSS JOIN milking AS m ON m.id = p.milking JOIN herd AS g ON g.id = m.herd
WHERE p.lot IN {given("lots")} ORDER BY m.began, m.id, p.lot""",
    METERED: """
SELECT c.animal, sum(c.grams * l.factor), count(*) - count(c.grams)
FROM (SELECT a.value AS lot, b.value AS factor
      FROM json_each(:lots) AS a JOIN json_each(:factors) AS b ON b.key = a.key) AS l
CROSS JOIN cow AS c ON c.lot = l.lot GROUP BY c.animal""",
    IN_TANKS: f"""
SELECT w.id, w.uuid, COALESCE(g.id, 0), COALESCE(g.number, 0), w.began, w.tank, w.animal, w.kg,
       ({FIRST_IN_TANK})
FROM wrongcow AS w LEFT JOIN herd AS g ON g.id = COALESCE(w.herd, (
    SELECT herd FROM stay WHERE animal = w.animal AND since <= w.began
    AND (until IS NULL OR until > w.began) LIMIT 1))
WHERE w.tank IN {given("tanks")} AND w.began < :last ORDER BY w.began, w.id""",
    PRESENT: f"""
SELECT m.milking, s.animal, c.lot, c.grams, c.at_s, 1
FROM {STOOD} LEFT JOIN cow AS c ON c.animal = s.animal AND c.milking = m.milking
WHERE c.goes IS NOT 1
UNION ALL
SELECT c.milking, c.animal, c.lot, c.grams, c.at_s, 0
FROM {asked("milking", "herd", "at")} AS m CROSS JOIN cow AS c ON c.milking = m.milking
WHERE c.goes IS NOT 1 AND NOT EXISTS (
    SELECT 1 FROM stay AS s WHERE s.animal = c.animal AND s.herd = m.herd AND s.since <= m.at
    AND (s.until IS NULL OR s.until > m.at))""",
    COUNTS: """SELECT animal, cells FROM recording WHERE began >= :since AND began <= :first
AND (valid_to IS NULL OR valid_to > :last)""",
    COUNTS_BETWEEN: f"""SELECT animal, began, valid_to, cells FROM recording
WHERE animal IN {given("animals")} AND began <= :last
AND (valid_to IS NULL OR valid_to > :first) ORDER BY began""",
    PERIODS: """SELECT p.animal, p.since, p.until, p.kind, p.why, p.source, p.course
FROM withheld AS w JOIN period AS p ON p.id = w.id
WHERE w.since <= :last / 1000000 AND w.until >= :first / 1000000
  AND (p.until IS NULL OR p.until > :first) AND (p.since IS NULL OR p.since <= :last)
ORDER BY p.animal, p.since NULLS FIRST""",
    COWS_OF_LOTS: f"{COW} WHERE lot IN {given('lots')}",
    SOME_COWS_OF_LOTS: f"{COW} WHERE lot IN {given('lots')} AND animal IN {given('animals')}",
    FEEDINGS_BEFORE: f"""
SELECT m.milking, f.id, f.began, f.kg, f.weighed, f.batch, f.feedlot
FROM {asked("milking", "herd", "at")} AS m
CROSS JOIN feeding AS f ON f.herd = m.herd AND f.began >= m.at - :before AND f.began <= m.at
ORDER BY f.began, f.id""",
    OPEN_LOAD_FED: """SELECT 1 FROM batch AS b WHERE b.done IS NULL AND EXISTS (
SELECT 1 FROM feeding WHERE batch = b.id AND began >= :first AND began <= :last) LIMIT 1""",
    FEEDS: f"""
SELECT 'load', b.id, b.uuid, '', f.name, b.began, b.deadline,
       b.done IS NULL AS "open [flag]"
FROM batch AS b JOIN field AS f ON f.id = b.field WHERE b.id IN {given("batches")}
UNION ALL
SELECT l.kind, l.id, l.uuid, l.name, COALESCE(h.name, f.name), l.began, NULL, 0
FROM feedlot AS l LEFT JOIN holding AS h ON h.id = l.supplier LEFT JOIN field AS f ON f.id = l.field
WHERE l.id IN {given("feed_lots")}""",
    FEEDS_FED: f"""
SELECT 'load', b.id, b.uuid, '', d.name, b.began, b.deadline, b.done IS NULL AS "open [flag]",
       f.herd, g.number, f.began, f.kg, f.weighed
FROM batch AS b JOIN field AS d ON d.id = b.field LEFT JOIN feeding AS f ON f.batch = b.id
LEFT JOIN herd AS g ON g.id = f.herd WHERE b.id IN {given("batches")}
UNION ALL
SELECT l.kind, l.id, l.uuid, l.name, COALESCE(h.name, d.name), l.began, NULL, 0,
       f.herd, g.number, f.began, f.kg, f.weighed
FROM feedlot AS l LEFT JOIN holding AS h ON h.id = l.supplier LEFT JOIN field AS d ON d.id = l.field
LEFT JOIN feeding AS f ON f.feedlot = l.id AND f.feedlot IS NOT NULL
LEFT JOIN herd AS g ON g.id = f.herd WHERE l.id IN {given("feed_lots")} ORDER BY 11""",
    MILKINGS_BETWEEN: f"""
SELECT {MILKED}, m.tank, p.lot, p.kg FROM {asked("herd", "first", "last")} AS s
CROSS JOIN milking AS m ON m.herd = s.herd
    AND m.began >= max(s.first, :since) AND m.began <= min(:until - 1, s.last)
JOIN herd AS g ON g.id = m.herd LEFT JOIN part AS p ON p.milking = m.id ORDER BY m.began, m.id""",
    MILKINGS_OF_FEED: f"""
WITH fed (herd, began) AS (
    SELECT herd, began FROM feeding WHERE batch IN {given("batches")}
    UNION ALL SELECT herd, began FROM feeding
    WHERE feedlot IN {given("feed_lots")} AND feedlot IS NOT NULL)
SELECT {MILKED}, m.tank, p.lot, p.kg FROM (
    SELECT DISTINCT m.id FROM fed AS f CROSS JOIN milking AS m ON m.herd = f.herd
    AND m.began >= max(f.began, :since)
    AND m.began <= min(:until - 1, f.began + COALESCE(:before, (
        SELECT value * 3600000000 FROM rule WHERE name = :name AND valid_from <= :day
        ORDER BY valid_from DESC, id DESC LIMIT 1), :without))) AS s
CROSS JOIN milking AS m ON m.id = s.id
JOIN herd AS g ON g.id = m.herd LEFT JOIN part AS p ON p.milking = m.id ORDER BY m.began, m.id""",
    VATS_BELOW: f"""{BELOW}
SELECT x.vat, x.lot, x.kg, v.uuid, v.day, v.number, v.round, v.began
FROM vatlot AS x JOIN vat AS v ON v.id = x.vat WHERE x.lot IN {LOTS_OF_BELOW}
ORDER BY v.began, x.vat""",
    DRAWS_BELOW: f"""{BELOW}
SELECT d.lot, d.at, d.kg, d.tray, COALESCE(t.uuid, e.uuid, s.uuid) AS "uuid [uuid]",
       CASE WHEN t.id THEN 'tray' WHEN e.id THEN e.what ELSE 'delivery' END,
       CASE WHEN t.id THEN CAST(t.number AS TEXT) WHEN e.id THEN COALESCE(o.name, e.remark)
            ELSE h.name END,
       (SELECT sum(kg) FROM draw WHERE tray = t.id), t.cream
FROM draw AS d LEFT JOIN tray AS t ON t.id = d.tray LEFT JOIN tankevent AS e ON e.id = d.event
LEFT JOIN tank AS o ON o.id = e.to_tank LEFT JOIN delivery AS s ON s.id = d.delivery
LEFT JOIN holding AS h ON h.id = s.holding
WHERE d.lot IN {LOTS_OF_BELOW} AND d.fill IS NULL ORDER BY d.at""",
    POURED_FROM_TRAYS: f"""SELECT tray, sum(kg) FROM vatfill WHERE tray IN {given("trays")}
GROUP BY tray""",
    WHEELS_OF_VATS: f"""
SELECT id, uuid, plate, twin, kg, vat FROM wheel WHERE vat IN {given("vats")}
ORDER BY vat, twin""",
    WHEELS_BELOW: f"""{BELOW}
SELECT id, uuid, plate, twin, kg, vat FROM wheel
WHERE vat IN (SELECT vat FROM vatlot WHERE lot IN {LOTS_OF_BELOW}) ORDER BY vat, twin""",
    SECOND_RING: f"""
SELECT v.uuid, v.day, v.number, v.round, v.began, c.can, c.from_vat
FROM (SELECT w.id, min(k.can) AS can, min(w.from_vat) AS from_vat FROM ({WHEY}) AS w
      JOIN startercan AS k ON k.id = w.id GROUP BY w.id) AS c
CROSS JOIN vat AS v ON v.starter = c.id ORDER BY v.began, v.id""",
    NAMED: f"""{UP}
SELECT n.hold, n.thing, n.number, n.way, l.code, l.opened FROM (
    SELECT hold, 'lot' AS thing, lot AS number, 'named' AS way FROM holditem
    WHERE lot IN {LOTS}
    UNION SELECT id, 'lot', lot, 'named' FROM hold WHERE lot IN {LOTS}
    UNION SELECT h.id, 'lot', l.id, 'tank' FROM lot AS l JOIN hold AS h ON h.tank = l.tank
    WHERE l.id IN {LOTS} AND (l.ended IS NULL OR l.ended > h.began)
    UNION SELECT id, 'vat', vat, 'named' FROM hold WHERE vat IN {given("vats")}
    UNION SELECT h.id, 'vat', v.id, 'starter' FROM vat AS v JOIN hold AS h ON h.starter = v.starter
    WHERE v.id IN {given("vats")}
    UNION SELECT id, 'wheel', wheel, 'named' FROM hold WHERE wheel IN {given("wheels")}
) AS n LEFT JOIN lot AS l ON n.thing = 'lot' AND l.id = n.number""",
    WHERE: f"""
SELECT step.wheel, step.what, step.at AS "at [moment]", b.bath, b.row, p.room, p.aisle,
       p."column", p.shelf, h.name
FROM (SELECT *, row_number() OVER (
          PARTITION BY wheel ORDER BY at DESC, rank DESC, written DESC, id DESC) AS place_in
      FROM ({STEPS}) WHERE at <= :at) AS step
LEFT JOIN brinestay AS b ON step.what = 'brine' AND b.id = step.id
LEFT JOIN storeplace AS p ON p.id = step.place
LEFT JOIN dispatch AS d ON step.what = 'sent' AND d.id = step.id
LEFT JOIN holding AS h ON h.id = d.buyer
WHERE step.place_in = 1""",
}
