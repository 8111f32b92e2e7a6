"""Put a backup into an empty database, and count there again."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psycopg

from config.backup import BackupError
from config.backup.counting import Counted, count, differences
from config.backup.files import Manifest, checked
from config.backup.programs import address_of, program, run

AWAY = "The database to restore into cannot be reached: {why} Make an empty one first (createdb)."
NOT_EMPTY = (
    "The database “{name}” is not empty: it has {tables} tables, {first} among them. A backup is "
    "only restored into an empty database, so that nothing is mixed or lost. Make a new one "
    "(createdb) and name it with --into."
)
OLDER = (
    "The backup was taken from PostgreSQL {dumped}, the server here is {here}. Restore it into "
    "version {dumped} or newer."
)
THINGS = """
    SELECT c.relname FROM pg_class AS c JOIN pg_namespace AS n ON n.oid = c.relnamespace
    WHERE n.nspname NOT IN ('pg_catalog', 'information_schema') AND n.nspname NOT LIKE 'pg\\_%'
      AND c.relkind IN ('r', 'p', 'v', 'm', 'S', 'f')
    ORDER BY c.relname
"""


@dataclass(frozen=True)
class Restored:
    """A restored database. ``differences``: what it holds otherwise than the book did, in words."""

    manifest: Manifest
    holds: Counted
    differences: list[str]


def restore(dump: Path, params: Mapping[str, Any]) -> Restored:
    """Restore a dump into the empty database of these parameters, whole or not at all.

    Raises BackupError: for a file that is not as its manifest says, a database that is not empty
    or too old, a program that is missing.
    """
    manifest = checked(dump)
    address, environment = address_of(params)
    secret = environment.get("PGPASSWORD")
    with connected(address, secret) as own:
        check_empty(own)
        here = own.info.server_version // 10000
        if here < manifest.holds.server:
            raise BackupError(OLDER.format(dumped=manifest.holds.server, here=here))
    run(
        [
            program("pg_restore", manifest.program),
            "--exit-on-error",
            "--single-transaction",
            "--no-owner",
            "--no-privileges",
            "--no-password",
            f"--dbname={address}",
            dump,
        ],
        environment,
    )
    with connected(address, secret) as own:
        own.autocommit = True
        own.execute("ANALYZE")
        holds = count(own)
    return Restored(manifest, holds, differences(manifest.holds, holds))


def connected(address: str, secret: str | None) -> psycopg.Connection[Any]:
    """A connection to the database to restore into. Raises BackupError."""
    try:
        return psycopg.connect(address, password=secret)
    except psycopg.OperationalError as error:
        raise BackupError(AWAY.format(why=str(error).strip())) from error


def check_empty(own: psycopg.Connection[Any]) -> None:
    """Raise BackupError when the database holds anything."""
    names = [name for (name,) in own.execute(THINGS.encode()).fetchall()]
    if names:
        raise BackupError(NOT_EMPTY.format(name=own.info.dbname, tables=len(names), first=names[0]))
