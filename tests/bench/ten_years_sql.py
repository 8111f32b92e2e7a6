"""The same questions without the program: its statements on a bare cursor, and a floor below them.

``replayed`` asks what a trace asked, prepared and answered in binary, and throws the rows away:
what a trace takes above it is Django and Python. ``Floor`` is as many round trips with the same
rows brought over, out of tables that hold nothing else, and one sum over the meter rows: no
trace can do less.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import psycopg
from django.db import connection

Asked = Sequence[tuple[str, Any]]
SUM = "SELECT sum(grams) FROM milk_cowmilking WHERE lot_id = ANY(%(lots)s::int4[])"
# As many pages of 8 kB as the statements touched, found in memory or read.
EXPLAIN = "EXPLAIN (ANALYZE, BUFFERS, FORMAT JSON) "


def asked_by(ask: Callable[[Any], Any], thing: Any) -> list[tuple[str, Any]]:
    """Every statement that a question asks of the database, with its values."""
    asked: list[tuple[str, Any]] = []

    def note(execute: Any, sql: Any, values: Any, many: bool, context: Any) -> Any:
        asked.append((sql, values))
        return execute(sql, values, many, context)

    with connection.execute_wrapper(note):
        ask(thing)
    return asked


def bare() -> psycopg.Connection[Any]:
    """A connection of psycopg alone to the book that Django has open."""
    connection.ensure_connection()
    known = connection.get_connection_params()
    names = ("host", "port", "user", "password", "options")
    named = {name: known[name] for name in names if known.get(name)}
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


class Floor:
    """The same rows in as many round trips, and one sum; tables of its own until it is closed."""

    def __init__(self, on: psycopg.Connection[Any], asked: Asked) -> None:
        self.on, self.reads = on, []
        # Only this binds values into the text, which is how a table is made of a statement.
        with psycopg.ClientCursor(on) as cursor:
            for number, (statement, values) in enumerate(asked):
                cursor.execute(statement, values)
                width = len(cursor.description or ())
                names = ", ".join(f"c{place}" for place in range(width))
                if width:
                    cursor.execute(
                        f"CREATE TEMP TABLE floor_{number} AS "
                        f"SELECT * FROM ({statement}) AS rows ({names})",
                        values,
                    )
                    cursor.execute(f"ANALYZE floor_{number}")
                self.reads.append(f"SELECT * FROM floor_{number}" if width else "SELECT 1")
        named = [values for _, values in asked if isinstance(values, Mapping)]
        self.lots = next((one["lots"] for one in named if one.get("lots", "{}") != "{}"), "{}")

    def ask(self) -> None:
        with self.on.cursor(binary=True) as cursor:
            for read in self.reads:
                cursor.execute(read).fetchall()
            cursor.execute(SUM, {"lots": self.lots}).fetchall()

    def close(self) -> None:
        for number, read in enumerate(self.reads):
            if "floor" in read:
                self.on.execute(f"DROP TABLE floor_{number}")


def pages(on: psycopg.Connection[Any], asked: Asked) -> int:
    """Pages touched by all statements."""
    found = 0
    with on.cursor() as cursor:
        for statement, values in asked:
            plan = cursor.execute(EXPLAIN + statement, values).fetchall()[0][0][0]["Plan"]
            found += plan["Shared Hit Blocks"] + plan["Shared Read Blocks"]
    return found
