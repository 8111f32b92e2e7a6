"""Raw statements on Django's own connection: values bound by the server, answers in binary.

Django binds values into the text of a statement, so that the server plans each anew and answers in
text. A statement asked here is prepared at its first use and planned once for a connection, where
the settings allow it (``DATABASE_PREPARE``). For the few reads that are asked all day.
"""

from collections.abc import Mapping
from functools import partial
from time import perf_counter
from typing import Any

import psycopg
from django.db import connection

Rows = list[tuple[Any, ...]]


def array(values: list[Any]) -> str:
    """A list as PostgreSQL writes an array; a tenth of the time of adapting item by item.

    Numbers, moments, flags and None; a text must be quoted before.
    """
    if None in values:
        values = ["NULL" if value is None else value for value in values]
    return f"{{{','.join(map(str, values))}}}"


def bound(values: Mapping[str, Any]) -> dict[str, Any]:
    """Values to be bound: lists as arrays."""
    return {
        name: array(value) if isinstance(value, list) else value for name, value in values.items()
    }


def ask(statement: str, values: Mapping[str, Any]) -> Rows:
    """The rows of one statement with ``%(name)s`` in it, values as ``bound`` gives them.

    Every list must be cast in the statement (``%(lots)s::int4[]``), and a value as well where the
    server could not tell its type.
    """
    connection.ensure_connection()
    began = perf_counter()
    with psycopg.Cursor(connection.connection) as cursor:

        def execute(sql: str, params: Any, many: bool, context: Any) -> None:
            cursor.execute(sql, params, binary=True)

        # Whoever watches Django's statements (slow ones, plans, their number) sees these too.
        run: Any = execute
        for wrapper in reversed(connection.execute_wrappers):
            run = partial(wrapper, run)
        run(statement, values, False, {"connection": connection, "cursor": cursor})
        rows = cursor.fetchall()
    if connection.queries_logged:
        whole = psycopg.ClientCursor(connection.connection).mogrify(statement, values)
        connection.queries_log.append({"sql": whole, "time": f"{perf_counter() - began:.3f}"})
    return rows
