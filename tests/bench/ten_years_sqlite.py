"""The same traces on SQLite: the program's own, its statements in SQLite's words.

Identical work: the same stages with the same Python between them, and the whole answer is compared.
SQLite has the tables and indexes of the book in a file of its own (moments as whole microseconds,
what was struck left out), sits in this very process, and turns numbers into moments with converters
of Python's ``sqlite3``. Statements are kept prepared by that module.
"""

import json
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, nullcontext
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

from django.db import connection

from config import asking
from milk import trace
from tests.bench.ten_years_sqlite_sql import SAID
from tests.bench.ten_years_sqlite_tables import INDEXES, SPANS, TABLES

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)
EVER = 2**62
# Lists of one statement that belong together row by row, as one list of rows.
ROW_BY_ROW = ("milkings", "groups", "starts", "firsts", "lasts")


def bound(value: Any) -> Any:
    """A value as SQLite has it."""
    if isinstance(value, datetime):
        return (value - EPOCH) // MICROSECOND
    if isinstance(value, timedelta):
        return value // MICROSECOND
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, list):
        return json.dumps([bound(one) for one in value])
    return EVER if value == "infinity" else value


def moment(found: bytes) -> datetime:
    return datetime.fromtimestamp(int(found) / 1e6, UTC)


def listed(found: bytes) -> list[Any] | None:
    """A list of JSON, None when it is empty, as PostgreSQL has it."""
    return json.loads(found) or None


for name, converter in (
    ("moment", moment),
    ("day", lambda found: date.fromisoformat(found.decode())),
    ("uuid", lambda found: UUID(bytes=found)),
    ("flag", lambda found: found == b"1"),
    ("list", listed),
):
    sqlite3.register_converter(name, converter)


class SqliteTraces:
    """Traces of the program with SQLite below them."""

    name = "SQLite"

    def __init__(self, folder: Path) -> None:
        path = folder / "traces.sqlite"
        fresh = not path.exists()
        self.db = sqlite3.connect(
            path,
            detect_types=sqlite3.PARSE_DECLTYPES | sqlite3.PARSE_COLNAMES,
            cached_statements=200,
        )
        self.db.execute("PRAGMA cache_size = -1000000")
        self.db.execute("PRAGMA mmap_size = 8000000000")
        if fresh:
            self.fill()

    def fill(self) -> None:
        """Copy the book that is open, table by table."""
        self.db.execute("PRAGMA journal_mode = OFF")
        for table, (columns, query) in TABLES.items():
            self.db.execute(f"CREATE TABLE {table} ({columns})")
            uuids = [
                place for place, one in enumerate(columns.split(", ")) if one.endswith(" uuid")
            ]
            marks = ", ".join("?" * len(columns.split(", ")))
            self.db.executemany(f"INSERT INTO {table} VALUES ({marks})", copied(query, uuids))
        for statement in SPANS:
            self.db.execute(statement)
        for number, index in enumerate(INDEXES):
            self.db.execute(f"CREATE INDEX i{number} ON {index}")
        self.db.execute("ANALYZE")
        self.db.commit()

    def carry_out(
        self, _here: Any, _cursor: Any, statement: str, values: Mapping[str, Any]
    ) -> list[tuple[Any, ...]]:
        """The rows of a statement of the program."""
        named = {name: bound(value) for name, value in values.items() if name not in ROW_BY_ROW}
        together = [values[name] for name in ROW_BY_ROW if name in values]
        if together:
            named["asked"] = json.dumps(
                [[bound(one) for one in row] for row in zip(*together, strict=True)]
            )
        return self.db.execute(SAID[statement], named).fetchall()

    @contextmanager
    def below(self) -> Iterator[None]:
        """Until the end, what the program asks is asked of SQLite."""
        kept = asking.carry_out, asking.all_of, trace.in_a_row
        asking.carry_out = self.carry_out  # type: ignore[assignment]
        asking.all_of = lambda rows: rows  # type: ignore[assignment, return-value]
        trace.in_a_row = nullcontext  # type: ignore[assignment]
        try:
            yield
        finally:
            asking.carry_out, asking.all_of, trace.in_a_row = kept

    def back(self, wheel: Any) -> trace.TraceBack:
        with self.below():
            return trace.back("wheel", wheel)

    def forward(self, batch: Any) -> trace.TraceForward:
        with self.below():
            return trace.forward("batch", batch)


def copied(query: str, uuids: list[int]) -> Iterator[tuple[Any, ...]]:
    """The rows of a query, brought over by COPY; numbers of 16 bytes as such."""
    connection.ensure_connection()
    with connection.cursor() as cursor, cursor.copy(f"COPY ({query}) TO STDOUT") as copy:
        for row in copy.rows():
            if uuids:
                values = list(row)
                for place in uuids:
                    values[place] = UUID(values[place]).bytes
                yield tuple(values)
            else:
                yield row
