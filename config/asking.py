"""Raw statements on Django's own connection: values bound by the server, answers in binary.

Django binds values into the text of a statement, so that the server plans each anew and answers in
text. A statement asked here is prepared at its first use and planned once for a connection, where
the settings allow it (``DATABASE_PREPARE``). For the few reads that are asked all day.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from functools import partial
from time import perf_counter
from typing import Any

import psycopg
from django.db import DEFAULT_DB_ALIAS, connections

Rows = list[tuple[Any, ...]]
Values = Mapping[str, Any] | Sequence[Any]
# Within ``in_a_row``: by statement, the values it was sent with, and where its rows will be.
_sent: ContextVar[dict[str, tuple[Values, "psycopg.Cursor[Any]"]] | None] = ContextVar(
    "statements sent ahead", default=None
)


def array(values: list[Any]) -> str:
    """A list as PostgreSQL writes an array; a tenth of the time of adapting item by item.

    Numbers, moments, flags and None: nothing that would have to be quoted.
    """
    if None in values:
        values = ["NULL" if value is None else value for value in values]
    return f"{{{','.join(map(str, values))}}}"


def bound(value: Any) -> Any:
    """A value as it is bound: a list as an array. Texts are left to psycopg, which knows them."""
    is_array = isinstance(value, list) and not (value and isinstance(value[0], str))
    return array(value) if is_array else value


def send(statement: str, values: Values) -> psycopg.Cursor[Any]:
    """Ask, and fetch the rows later from what comes back; within ``in_a_row`` without waiting.

    Every list must be cast in the statement (``%(lots)s::int4[]``), and a value as well where the
    server could not tell its type.
    """
    if isinstance(values, Mapping):
        values = {name: bound(value) for name, value in values.items()}
    else:
        values = [bound(value) for value in values]

    def execute(cursor: psycopg.Cursor[Any]) -> None:
        cursor.execute(statement, values, binary=True)

    return watched(execute, statement, values)


def copy_lines(statement: str, lines: Iterable[str]) -> None:
    """Send rows by a COPY ... FROM STDIN: a line each, its columns apart by tabs, ``\\N`` for None.

    Numbers, moments and flags: nothing that would have to be escaped.
    """

    def execute(cursor: psycopg.Cursor[Any]) -> None:
        with cursor.copy(statement) as copy:
            copy.write("".join(lines))

    watched(execute, statement, None).close()


def watched(
    execute: Callable[[psycopg.Cursor[Any]], None], statement: str, values: Any
) -> psycopg.Cursor[Any]:
    """Carry out a statement on a cursor of Django's connection; with the errors of django.db.

    Whoever watches Django's statements (slow ones, plans, their number) sees these too.
    """
    # Looked up once: every attribute of django.db.connection asks for the thread's anew.
    here = connections[DEFAULT_DB_ALIAS]
    here.ensure_connection()
    began = perf_counter()
    cursor = psycopg.Cursor(here.connection)

    def carry_out(sql: str, params: Any, many: bool, context: Any) -> None:
        with here.wrap_database_errors:
            execute(cursor)

    run: Any = carry_out
    for wrapper in reversed(here.execute_wrappers):
        run = partial(wrapper, run)
    run(statement, values, False, {"connection": here, "cursor": cursor})
    if here.queries_logged:
        whole = psycopg.ClientCursor(here.connection).mogrify(statement, values)
        here.queries_log.append({"sql": whole, "time": f"{perf_counter() - began:.3f}"})
    return cursor


def ask(statement: str, values: Values) -> Rows:
    """The rows of one statement; see ``send``. Raises the errors of django.db."""
    known, cursor = (_sent.get() or {}).pop(statement, (None, None))
    if cursor is not None and known == values:
        return fetched(cursor)
    return fetched(send(statement, values))


def ahead(statement: str, values: Values) -> None:
    """Send what will be asked with these very values, before its rows are wanted.

    Only within ``in_a_row``, else it would be waited for here; whoever asks then finds it sent.
    """
    sent = _sent.get()
    if sent is not None:
        sent[statement] = (values, send(statement, values))


def fetched(cursor: psycopg.Cursor[Any]) -> Rows:
    """The rows of a statement that was sent."""
    try:
        return cursor.fetchall()
    except psycopg.Error:
        with connections[DEFAULT_DB_ALIAS].wrap_database_errors:
            raise
    finally:
        cursor.close()


@contextmanager
def in_a_row() -> Iterator[None]:
    """Statements sent here do not wait for each other: the server works on the next while the rows
    of the one before are put together (PostgreSQL manual, 32.5 Pipeline Mode)."""
    here = connections[DEFAULT_DB_ALIAS]
    here.ensure_connection()
    token = _sent.set({})
    try:
        with here.wrap_database_errors, here.connection.pipeline():
            yield
    finally:
        _sent.reset(token)
