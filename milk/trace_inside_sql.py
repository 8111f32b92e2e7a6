"""The statements of who is in some lots; see ``milk.trace_sql`` for how they are written."""

# By animal: kg in the thing (``factors``: kg for each gram of a lot's own milk, NULL when nobody
# knows), and at how many milkings no weight was written.
METERED = """
SELECT c.animal_id, sum(c.grams * l.factor), count(*) - count(c.grams)
FROM unnest(%(lots)s::int4[], %(factors)s::float8[]) AS l (lot_id, factor)
CROSS JOIN LATERAL (
    SELECT animal_id, grams FROM milk_cowmilking WHERE lot_id = l.lot_id OFFSET 0) AS c
GROUP BY c.animal_id
"""

COWS_OF_LOTS = """
SELECT lot_id, milking_id, animal_id, grams, at_s
FROM milk_cowmilking WHERE lot_id = ANY(%(lots)s::int4[])
"""

SOME_COWS_OF_LOTS = """
SELECT lot_id, milking_id, animal_id, grams, at_s
FROM milk_cowmilking
WHERE lot_id = ANY(%(lots)s::int4[]) AND animal_id = ANY(%(animals)s::int4[])
"""

# By milking, the animals with meter rows in the lots.
METERED_BY_MILKING = """
SELECT milking_id, array_agg(animal_id) FROM milk_cowmilking
WHERE lot_id = ANY(%(lots)s::int4[]) GROUP BY milking_id
"""

# Who stood in the group at the milking, less those a row says were kept out, and who has a row. The
# row's lot tells of an animal whose milk is known to be elsewhere.
PRESENT = """
SELECT COALESCE(s.milking_id, c.milking_id), COALESCE(s.animal_id, c.animal_id), c.lot_id, c.grams,
       c.at_s, s.animal_id IS NOT NULL
FROM (
    SELECT m.milking_id, s.animal_id
    FROM unnest(%(milkings)s::int4[], %(groups)s::int4[], %(starts)s::timestamptz[])
         AS m (milking_id, group_id, at)
    CROSS JOIN LATERAL (
        SELECT animal_id FROM herd_groupstay
        WHERE struck_at IS NULL AND during @> m.at
          AND int8range(group_id, group_id, '[]') && int8range(m.group_id, m.group_id, '[]')
        OFFSET 0) AS s
) AS s
FULL JOIN (
    SELECT animal_id, milking_id, lot_id, goes, grams, at_s FROM milk_cowmilking
    WHERE milking_id = ANY(%(milkings)s::int4[]) OFFSET 0
) AS c ON c.animal_id = s.animal_id AND c.milking_id = s.milking_id
WHERE c.goes IS DISTINCT FROM 1
"""

# Of the whole herd: some dozens are inside one at a time.
PERIODS = """
SELECT animal_id, lower(during), upper(during), kind, why, source, course_id
FROM herd_withdrawalperiod
WHERE during && tstzrange(%(first)s, %(last)s, '[]')
ORDER BY animal_id, lower(during)
"""

# Recordings carry until when they were the latest. At nearly every milking of a trace it is the
# same one, which a read in the order of an index finds for the whole herd; asking for two thousand
# animals would take longer.
COUNTS = """
SELECT animal_id, cells::float8
FROM herd_recording
WHERE struck_at IS NULL AND cells IS NOT NULL
  AND happened_at >= %(since)s AND happened_at <= %(first)s
  AND (valid_to IS NULL OR valid_to > %(last)s)
"""

# Of some animals, every count that was the latest at some moment between two, however old.
COUNTS_BETWEEN = """
SELECT a.id, r.happened_at, r.valid_to, r.cells
FROM unnest(%(animals)s::int4[]) AS a (id)
CROSS JOIN LATERAL (
    SELECT happened_at, valid_to, cells::float8 FROM herd_recording
    WHERE animal_id = a.id AND struck_at IS NULL AND cells IS NOT NULL
      AND happened_at <= %(last)s AND (valid_to IS NULL OR valid_to > %(first)s)
    OFFSET 0) AS r
ORDER BY r.happened_at
"""

# The same with the names of the animals; one without a count has one row.
NAMES_AND_COUNTS = """
SELECT a.id, a.uuid, a.farm_number, a.ear_tag, r.happened_at, r.valid_to, r.cells
FROM herd_animal AS a
LEFT JOIN LATERAL (
    SELECT happened_at, valid_to, cells::float8 FROM herd_recording
    WHERE animal_id = a.id AND struck_at IS NULL AND cells IS NOT NULL
      AND happened_at <= %(last)s AND (valid_to IS NULL OR valid_to > %(first)s)
    OFFSET 0) AS r ON true
WHERE a.id = ANY(%(animals)s::int4[])
ORDER BY r.happened_at
"""
