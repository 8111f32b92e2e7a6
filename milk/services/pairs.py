"""Writing what changed in a table of pairs with a weight: two statements, however many rows."""

from collections.abc import Mapping
from decimal import Decimal

from django.db import connection
from psycopg import sql

Pair = tuple[int, int]

DELETE = """
    DELETE FROM {table} USING unnest(%s::int[], %s::int[]) AS gone(a, b)
    WHERE {first} = gone.a AND {second} = gone.b
"""
UPSERT = """
    INSERT INTO {table} ({first}, {second}, kg)
    SELECT * FROM unnest(%s::int[], %s::int[], %s::numeric[])
    ON CONFLICT ({first}, {second}) DO UPDATE SET kg = excluded.kg
"""


def write_pairs(
    table: str, first: str, second: str, old: Mapping[Pair, Decimal], new: Mapping[Pair, Decimal]
) -> set[Pair]:
    """Make ``old`` rows of a table into ``new`` ones; the pairs that changed."""
    names = {
        name: sql.Identifier(text)
        for name, text in zip(("table", "first", "second"), (table, first, second), strict=True)
    }
    gone = [pair for pair in old if pair not in new]
    changed = {pair: kg for pair, kg in new.items() if old.get(pair) != kg}
    with connection.cursor() as cursor:
        if gone:
            cursor.execute(
                sql.SQL(DELETE).format(**names), [list(side) for side in zip(*gone, strict=True)]
            )
        if changed:
            columns = [list(side) for side in zip(*changed, strict=True)]
            cursor.execute(sql.SQL(UPSERT).format(**names), [*columns, list(changed.values())])
    return {*gone, *changed}
