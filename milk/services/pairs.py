"""Writing what changed in a table of pairs with a weight: two statements, however many rows."""

from collections.abc import Mapping
from decimal import Decimal

from config.asking import send

Pair = tuple[int, int]

DELETE = """
    DELETE FROM {table} USING unnest(%s::int4[], %s::int4[]) AS gone(a, b)
    WHERE {first} = gone.a AND {second} = gone.b
"""
UPSERT = """
    INSERT INTO {table} ({first}, {second}, kg)
    SELECT * FROM unnest(%s::int4[], %s::int4[], %s::numeric[])
    ON CONFLICT ({first}, {second}) DO UPDATE SET kg = excluded.kg
"""


def write_pairs(
    table: str, first: str, second: str, old: Mapping[Pair, Decimal], new: Mapping[Pair, Decimal]
) -> set[Pair]:
    """Make ``old`` rows of a table into ``new`` ones; the pairs that changed."""
    names = {"table": table, "first": first, "second": second}
    gone = [pair for pair in old if pair not in new]
    changed = {pair: kg for pair, kg in new.items() if old.get(pair) != kg}
    if gone:
        columns = [list(side) for side in zip(*gone, strict=True)]
        send(DELETE.format(**names), columns).close()
    if changed:
        columns = [list(side) for side in zip(*changed, strict=True)]
        send(UPSERT.format(**names), [*columns, list(changed.values())]).close()
    return {*gone, *changed}
