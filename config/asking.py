"""Raw statements on Django's own connection: values bound by the server, answers in binary.

Django binds values into the text of a statement, so that the server plans each anew and answers in
text. A statement asked here is prepared at its first use and planned once for a connection, where
the settings allow it (``DATABASE_PREPARE``). For the few reads that are asked all day.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from functools import partial
from time import monotonic, perf_counter
from typing import Any, NamedTuple

import psycopg
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.base import BaseDatabaseWrapper

from config.arrivals import ask_to_be_told, wait_for
from config.logs import slow_statement, tell_slow

Rows = list[tuple[Any, ...]]
Cursor = psycopg.Cursor[Any]
# The attribute of a connection that has the cursor kept for it.
KEPT = "swardline_cursor"
# Rows whose memory is given back at once.
MANY = 10_000
Values = Mapping[str, Any] | Sequence[Any]


class Row(NamedTuple):
    """Statements in a row: on which connection, and by statement those sent ahead.

    Of each the values it was sent with, and where its rows will be.
    """

    here: BaseDatabaseWrapper
    sent: dict[str, tuple[Values, Cursor]]


_row: ContextVar[Row | None] = ContextVar("statements in a row", default=None)


def connected() -> BaseDatabaseWrapper:
    """Django's connection of this thread, open; looked up once for statements in a row."""
    row = _row.get()
    here = connections[DEFAULT_DB_ALIAS] if row is None else row.here
    if here.connection is None:
        here.ensure_connection()
    return here


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


def send(statement: str, values: Values) -> Cursor:
    """Ask, and fetch the rows later from what comes back; within ``in_a_row`` without waiting.

    Every list must be cast in the statement (``%(lots)s::int4[]``), and a value as well where the
    server could not tell its type.
    """
    here = connected()
    cursor = carry_out(here, psycopg.Cursor(here.connection), statement, values)
    if _row.get() is not None:
        ask_to_be_told(cursor)
    return cursor


def carry_out(here: BaseDatabaseWrapper, cursor: Cursor, statement: str, values: Values) -> Cursor:
    """Carry out a statement on a cursor; with the errors of django.db."""
    if isinstance(values, Mapping):
        values = {name: bound(value) for name, value in values.items()}
    else:
        values = [bound(value) for value in values]

    def execute() -> None:
        cursor.execute(statement, values, binary=True)

    if here.queries_logged or here.execute_wrappers != [slow_statement]:
        watched(here, cursor, execute, statement, values)
        return cursor
    # The same by a shorter way: a trace asks a dozen of them in two milliseconds.
    began = monotonic()
    try:
        execute()
    except psycopg.Error:
        with here.wrap_database_errors:
            raise
    finally:
        tell_slow(statement, began)
    return cursor


def copy_lines(statement: str, texts: Iterable[str]) -> None:
    """Send rows by a COPY ... FROM STDIN: a line each, its columns apart by tabs, ``\\N`` for None.

    Numbers, moments and flags: nothing that would have to be escaped. A text has some lines: the
    server works on them while the next text is made.
    """

    here = connected()
    with psycopg.Cursor(here.connection) as cursor:

        def execute() -> None:
            with cursor.copy(statement) as copy:
                for text in texts:
                    copy.write(text)

        watched(here, cursor, execute, statement, None)


def watched(
    here: BaseDatabaseWrapper,
    cursor: Cursor,
    execute: Callable[[], None],
    statement: str,
    values: Any,
) -> None:
    """Carry out a statement as Django's own cursors do, with the errors of django.db.

    Whoever watches Django's statements (slow ones, plans, their number) sees these too.
    """
    began = perf_counter()

    def run_bare(sql: str, params: Any, many: bool, context: Any) -> None:
        with here.wrap_database_errors:
            execute()

    run: Any = run_bare
    for wrapper in reversed(here.execute_wrappers):
        run = partial(wrapper, run)
    run(statement, values, False, {"connection": here, "cursor": cursor})
    if here.queries_logged:
        whole = psycopg.ClientCursor(here.connection).mogrify(statement, values)
        here.queries_log.append({"sql": whole, "time": f"{perf_counter() - began:.3f}"})


def ask(statement: str, values: Values) -> Rows:
    """The rows of one statement; see ``send``. Raises the errors of django.db."""
    row = _row.get()
    if row is not None and statement in row.sent:
        known, cursor = row.sent.pop(statement)
        if known == values:
            return fetched(cursor)
    if row is not None:
        return fetched(send(statement, values))
    here = connected()
    return all_of(carry_out(here, kept_cursor(here), statement, values))


def kept_cursor(here: BaseDatabaseWrapper) -> Cursor:
    """The cursor of a connection for statements that are waited for: to make one takes a tenth."""
    cursor: Cursor | None = getattr(here, KEPT, None)
    if cursor is None or cursor.closed or cursor.connection is not here.connection:
        cursor = psycopg.Cursor(here.connection)
        setattr(here, KEPT, cursor)
    return cursor


def ahead(statement: str, values: Values) -> None:
    """Send what will be asked with these very values, before its rows are wanted.

    Only within ``in_a_row``, else it would be waited for here; whoever asks then finds it sent.
    What was sent with the same values and not fetched yet is not sent again.
    """
    row = _row.get()
    if row is not None and row.sent.get(statement, (None,))[0] != values:
        row.sent[statement] = (values, send(statement, values))


def fetched(cursor: Cursor) -> Rows:
    """The rows of a statement that was sent; what was sent after it is not waited for."""
    with cursor:
        return all_of(cursor)


def all_of(cursor: Cursor) -> Rows:
    """Every row; a cursor that is kept does not keep many of them."""
    try:
        wait_for(cursor)
        rows = cursor.fetchall()
    except psycopg.Error:
        with connected().wrap_database_errors:
            raise
    if len(rows) > MANY:
        cursor.close()
    return rows


@contextmanager
def in_a_row() -> Iterator[None]:
    """Statements sent here do not wait for each other: the server works on the next while the rows
    of the one before are put together (PostgreSQL manual, 32.5 Pipeline Mode). On one machine too:
    a trace takes a quarter less where a core is free for the server, and a twentieth more where
    none is. Within another row it is a part of that one.
    """
    if _row.get() is not None:
        yield
        return
    here = connected()
    token = _row.set(Row(here, {}))
    try:
        with here.wrap_database_errors, here.connection.pipeline():
            yield
    finally:
        _row.reset(token)
