"""The same questions without the program: its statements on a bare cursor, and a floor below them.

``replayed`` asks what a trace asked, prepared and answered in binary, and throws the rows away:
what a trace takes above it is Django and Python. ``floor`` is as many round trips, as many rows of
four numbers brought over, and one sum over the rows of the lots: no trace can do less.
"""

from collections.abc import Sequence
from typing import Any

import psycopg
from django.db import connection

Asked = Sequence[tuple[str, dict[str, Any]]]
SUM = "SELECT sum(grams) FROM milk_cowmilking WHERE lot_id = ANY(%(lots)s::int4[])"
BRING = "SELECT i, i, i, i FROM generate_series(1, %(rows)s::int4) AS i"
# As many pages of 8 kB as the statements touched, found in memory or read.
EXPLAIN = "EXPLAIN (ANALYZE, BUFFERS, FORMAT JSON) "


def bare() -> psycopg.Connection[Any]:
    """A connection of psycopg alone to the book that Django has open."""
    connection.ensure_connection()
    known = connection.get_connection_params()
    named = {name: known[name] for name in ("host", "port", "user", "password") if known.get(name)}
    found = psycopg.connect(**named, dbname=connection.settings_dict["NAME"], autocommit=True)
    found.prepare_threshold = 0
    return found


def replayed(on: psycopg.Connection[Any], asked: Asked) -> int:
    """Ask it all again; how many rows came."""
    number = 0
    with on.cursor(binary=True) as cursor:
        for statement, values in asked:
            number += len(cursor.execute(statement, values).fetchall())
    return number


def floor(on: psycopg.Connection[Any], trips: int, rows: int, lots: str) -> None:
    """The least that as many round trips, rows and one sum can take."""
    with on.cursor(binary=True) as cursor:
        for _ in range(max(trips - 2, 0)):
            cursor.execute("SELECT 1").fetchall()
        cursor.execute(BRING, {"rows": rows}).fetchall()
        cursor.execute(SUM, {"lots": lots}).fetchall()


def pages(on: psycopg.Connection[Any], asked: Asked) -> int:
    """Pages touched by all statements."""
    found = 0
    with on.cursor() as cursor:
        for statement, values in asked:
            plan = cursor.execute(EXPLAIN + statement, values).fetchall()[0][0][0]["Plan"]
            found += plan["Shared Hit Blocks"] + plan["Shared Read Blocks"]
    return found
