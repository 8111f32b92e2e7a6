"""The meter rows in the chain of sealed days: a line for those of a milking that came together.

A row may be corrected afterwards, by an entry that keeps the old value and the new; what is summed
is what the row said when it came. A row that says something else than its last correction, or has
none and was changed, gives another sum.
"""

from collections.abc import Iterator
from datetime import datetime

from django.db import connection

from config.seals.lines import canonical
from config.seals.reading import CHUNK, Line, day_of, register

METER_ROWS = "meter-rows"

# Whose row, g, s after the start, where it went, and the file that brought it.
SUMMED = """
    encode(sha256(string_agg(
        concat_ws('|', cow.uuid, CASE
            WHEN first.id IS NULL THEN concat_ws('/', coalesce(c.grams, -1), c.goes)
            WHEN (c.grams, c.goes) IS NOT DISTINCT FROM (last.new_grams, last.new_goes)
                THEN concat_ws('/', coalesce(first.old_grams, -1), first.old_goes)
            ELSE 'not as corrected' END,
            coalesce(c.at_s, -1), coalesce(c.upload_id, 0)),
        E'\\n' ORDER BY cow.uuid)::bytea), 'hex')
"""
ROWS = """
    milk_cowmilking AS c
    JOIN herd_animal AS cow ON cow.id = c.animal_id
    LEFT JOIN corrected AS first
        ON first.animal_id = c.animal_id AND first.milking_id = c.milking_id AND first.is_first
    LEFT JOIN corrected AS last
        ON last.animal_id = c.animal_id AND last.milking_id = c.milking_id AND last.is_last
"""
# Rows of which the book does not say when they came were slipped in; they stand in the chain by the
# day of their milking, where they were not when it was sealed.
LINES = f"""
    WITH several AS (
        SELECT a.id, a.milking_id, a.received_at, a.animals FROM milk_meterarrival AS a
        WHERE a.received_at >= %(since)s AND a.received_at < %(until)s
        UNION ALL
        SELECT 0, m.id, m.received_at, NULL FROM milk_milking AS m
        WHERE m.received_at >= %(since)s AND m.received_at < %(until)s
          AND NOT EXISTS (SELECT FROM milk_meterarrival AS a WHERE a.milking_id = m.id)
          AND EXISTS (SELECT FROM milk_cowmilking AS c WHERE c.milking_id = m.id)
    ),
    later AS (
        SELECT id, milking_id, unnest(animals) AS animal_id FROM milk_meterarrival
        WHERE animals IS NOT NULL
    ),
    corrected AS (
        SELECT id, animal_id, milking_id, old_grams, old_goes, new_grams, new_goes,
               row_number() OVER (PARTITION BY animal_id, milking_id ORDER BY id) = 1 AS is_first,
               row_number() OVER (PARTITION BY animal_id, milking_id ORDER BY id DESC) = 1
                   AS is_last
        FROM milk_metercorrection
    )
    SELECT milking.uuid, several.received_at, several.id > 0, count(*), {SUMMED}
    FROM several
    JOIN milk_milking AS milking ON milking.id = several.milking_id
    JOIN ({ROWS}) ON c.milking_id = several.milking_id
    LEFT JOIN later ON later.milking_id = c.milking_id AND later.animal_id = c.animal_id
    WHERE several.animals IS NULL AND later.id IS NULL OR later.id = several.id
    GROUP BY milking.uuid, several.id, several.received_at
"""


def meter_rows(since: datetime, until: datetime) -> Iterator[Line]:
    """The meter rows that came between two moments, one line for each milking and arrival."""
    # Read at once: for a cursor on the server another plan is made, which begins soon and takes
    # thirty times as long. It is a line for each milking.
    with connection.cursor() as cursor:
        cursor.execute(LINES, {"since": since, "until": until})
        while rows := cursor.fetchmany(CHUNK):
            for milking, received, known, number, summed in rows:
                told = {"what": "meter rows", "kind": METER_ROWS, "milking": milking}
                told |= {"received_at": received, "rows": number, "sha256": summed}
                told["came"] = None if known else "nobody knows when"
                yield Line(day_of(received), canonical(told))


register(METER_ROWS, meter_rows)
