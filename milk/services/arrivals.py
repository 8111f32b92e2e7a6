"""When meter rows came: written beside them, so that they are sealed with the day they came on."""

from collections.abc import Iterable

from django.db import connection
from django.utils import timezone

from config.asking import send

# Of a milking that has rows already, whose the further ones are; else all of it came at once. Of
# rows ``came`` (animal, milking), at the moment ``now``.
NOTE_CAME = """
    INSERT INTO milk_meterarrival (milking_id, received_at, animals)
    SELECT came.milking, %(now)s,
           CASE WHEN EXISTS (SELECT FROM milk_meterarrival AS a WHERE a.milking_id = came.milking)
                THEN array_agg(came.animal ORDER BY came.animal) END
    FROM came GROUP BY came.milking
"""
NOTE = f"""
    WITH came AS (
        SELECT * FROM unnest(%(animals)s::int[], %(milkings)s::int[]) AS came (animal, milking)
    ) {NOTE_CAME}
"""
NOTE_FIRST = """
    INSERT INTO milk_meterarrival (milking_id, received_at)
    SELECT unnest(%(milkings)s::int4[]), %(now)s
"""
NOTE_ALL = """
    INSERT INTO milk_meterarrival (milking_id, received_at)
    SELECT DISTINCT c.milking_id, m.received_at
    FROM milk_cowmilking AS c JOIN milk_milking AS m ON m.id = c.milking_id
    WHERE NOT EXISTS (SELECT FROM milk_meterarrival AS a WHERE a.milking_id = c.milking_id)
"""


def note_arrival(came: Iterable[tuple[int, int]]) -> None:
    """Write down that rows came now: (animal, milking), by their keys. One statement."""
    rows = list(came)
    if not rows:
        return
    animals, milkings = zip(*rows, strict=True)
    with connection.cursor() as cursor:
        cursor.execute(
            NOTE,
            {"now": timezone.now(), "animals": list(animals), "milkings": list(milkings)},
        )


def note_first(milkings: list[int]) -> None:
    """Write down that all the rows that new milkings (keys) have came with them, now."""
    if milkings:
        send(NOTE_FIRST, {"milkings": milkings, "now": timezone.now()}).close()


def note_all() -> None:
    """Let the rows of every milking that has no word of it have come with their milking.

    For books that are written in bulk: of the demo and of benchmarks.
    """
    with connection.cursor() as cursor:
        cursor.execute(NOTE_ALL)
