"""What a database holds: rows and a sum of each table, the entries of each kind, the newest one.

Read over a connection of its own, so that a backup counts in the very snapshot that is dumped and a
restored database is counted in the same words.
"""

import hashlib
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any

import psycopg
from psycopg import sql

from config.kinds import all_kinds

# How values are written as text, so that the same row gives the same sum on every server.
AS_TEXT = (
    "SET timezone = 'UTC'",
    "SET datestyle = 'ISO, YMD'",
    "SET intervalstyle = 'iso_8601'",
    "SET bytea_output = 'hex'",
    "SET extra_float_digits = 1",
)
TABLES = """
    SELECT c.relname FROM pg_class AS c JOIN pg_namespace AS n ON n.oid = c.relnamespace
    WHERE n.nspname = 'public' AND c.relkind IN ('r', 'p') ORDER BY c.relname
"""
COLUMNS = """
    SELECT attname FROM pg_attribute
    WHERE attrelid = %s::regclass AND attnum > 0 AND NOT attisdropped ORDER BY attname
"""
# The sum does not hang on the order of rows: 60 bits of each row's MD5, added up. It finds what got
# lost or was mangled on the way; against somebody who means harm there are the sealed days.
COUNT = """
    SELECT count(*), coalesce(sum(('x' || substr(md5(said), 1, 15))::bit(60)::bigint), 0)::text
    FROM (SELECT row_to_json(r)::text AS said FROM (SELECT {columns} FROM {table}) AS r) AS rows
"""
COUNT_ENTRIES = """
    SELECT count(*) FILTER (WHERE struck_at IS NULL), count(struck_at),
           greatest(max(received_at), max(struck_at))
    FROM {table}
"""


@dataclass(frozen=True)
class Counted:
    """What a database holds.

    ``tables``: name -> [rows, sum]; ``kinds``: slug -> [standing, struck]; ``newest_entry``: when
    the last entry or strike arrived (ISO 8601, UTC; "" when there is none).
    """

    server: int
    tables: dict[str, tuple[int, str]]
    kinds: dict[str, tuple[int, int]]
    newest_entry: str
    migrations: dict[str, str]

    def as_dict(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_dict(cls, told: dict[str, Any]) -> "Counted":
        """As a manifest keeps it. Raises KeyError, TypeError or ValueError for another shape."""
        return cls(
            server=int(told["server"]),
            tables={name: (int(rows), str(own)) for name, (rows, own) in told["tables"].items()},
            kinds={slug: (int(up), int(down)) for slug, (up, down) in told["kinds"].items()},
            newest_entry=str(told["newest_entry"]),
            migrations={str(app): str(name) for app, name in told["migrations"].items()},
        )

    @property
    def entries(self) -> int:
        """All entries, struck ones too."""
        return sum(standing + struck for standing, struck in self.kinds.values())


def count(connection: psycopg.Connection[Any]) -> Counted:
    """Count everything, in the transaction the connection is in."""
    for setting in AS_TEXT:
        connection.execute(setting.encode())
    tables = [name for (name,) in connection.execute(TABLES).fetchall()]
    kinds, newest = count_entries(connection, set(tables))
    return Counted(
        server=connection.info.server_version // 10000,
        tables={name: count_table(connection, name) for name in tables},
        kinds=kinds,
        newest_entry=newest.astimezone(UTC).isoformat() if newest else "",
        migrations=last_migrations(connection, set(tables)),
    )


def count_table(connection: psycopg.Connection[Any], name: str) -> tuple[int, str]:
    """Rows of a table and their sum, whatever the order of its columns."""
    columns = [column for (column,) in connection.execute(COLUMNS, [f'public."{name}"']).fetchall()]
    if not columns:
        return (0, "0")
    query = sql.SQL(COUNT).format(
        columns=sql.SQL(", ").join(map(sql.Identifier, columns)),
        table=sql.Identifier("public", name),
    )
    rows, own = one(connection, query)
    return int(rows), hashlib.sha256(f"{','.join(columns)}:{own}".encode()).hexdigest()[:16]


def count_entries(
    connection: psycopg.Connection[Any], tables: set[str]
) -> tuple[dict[str, tuple[int, int]], datetime | None]:
    """Standing and struck entries by kind, and when the newest entry or strike arrived."""
    kinds: dict[str, tuple[int, int]] = {}
    moments: list[datetime] = []
    for kind in all_kinds():
        table = kind.model._meta.db_table
        if table not in tables:
            continue
        query = sql.SQL(COUNT_ENTRIES).format(table=sql.Identifier("public", table))
        standing, struck, newest = one(connection, query)
        kinds[kind.slug] = (standing, struck)
        if newest:
            moments.append(newest)
    return kinds, max(moments, default=None)


def last_migrations(connection: psycopg.Connection[Any], tables: set[str]) -> dict[str, str]:
    """The last migration of each app that was carried out."""
    if "django_migrations" not in tables:
        return {}
    rows = connection.execute("SELECT app, max(name) FROM public.django_migrations GROUP BY app")
    return dict(rows.fetchall())


def one(connection: psycopg.Connection[Any], query: sql.Composed) -> tuple[Any, ...]:
    """The only row of a query."""
    row: tuple[Any, ...] | None = connection.execute(query).fetchone()
    assert row is not None
    return row


def differences(before: Counted, after: Counted) -> list[str]:
    """What differs between two databases, in words; empty when they hold the same."""
    told = []
    for name in sorted({*before.tables, *after.tables}):
        was, now = before.tables.get(name), after.tables.get(name)
        if was is None or now is None:
            told.append(f"table {name} is {'new' if was is None else 'missing'}")
        elif was[0] != now[0]:
            told.append(f"table {name} had {was[0]} rows and has {now[0]}")
        elif was != now:
            told.append(f"table {name} has as many rows as before, but not with the same content")
    for slug in sorted({*before.kinds, *after.kinds}):
        was_kind, now_kind = before.kinds.get(slug, (0, 0)), after.kinds.get(slug, (0, 0))
        if was_kind != now_kind:
            told.append(
                f"{slug.replace('-', ' ')}: {was_kind[0]} standing and {was_kind[1]} struck "
                f"before, {now_kind[0]} and {now_kind[1]} now"
            )
    if before.newest_entry != after.newest_entry:
        told.append(
            f"the newest entry arrived {before.newest_entry or 'never'} before, "
            f"{after.newest_entry or 'never'} now"
        )
    return told
