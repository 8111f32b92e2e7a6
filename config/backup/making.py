"""Make a backup: dump and count in one snapshot, then the sum, the manifest, copies, rotation."""

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from importlib import import_module
from pathlib import Path
from typing import Any

import psycopg
from django.conf import settings
from django.db import connection
from psycopg import IsolationLevel

from config.backup import DUMP, STEM, BackupError, manifest_of
from config.backup.counting import count
from config.backup.files import (
    MOMENT,
    Manifest,
    alone_in,
    backups_in,
    copy_to,
    made_folder,
    read_manifest,
    rotate,
    settle,
    sum_of,
    write_whole,
)
from config.backup.programs import address_of, major_of, program, run

# Every version of pg_dump takes it; half the time of the tightest for a tenth more room.
COMPRESSION = "6"
NO_BOTO3 = (
    "A copy at an s3:// address needs boto3, which is not installed here: "
    ".venv/bin/python -m pip install --require-hashes -r requirements-s3.txt"
)
AWAY = "The database cannot be reached: {why}"


@dataclass(frozen=True)
class Made:
    """A backup that was made. ``troubles``: copies that failed, in words."""

    path: Path
    manifest: Manifest
    removed: Sequence[Path]
    copies: Sequence[Path | str]
    troubles: Sequence[str]


def connection_params() -> dict[str, Any]:
    """How to reach the database of the settings; an embedded server is there afterwards."""
    return dict(connection.get_connection_params())


@contextmanager
def snapshot(params: Mapping[str, Any]) -> Iterator[tuple[psycopg.Connection[Any], str]]:
    """A read-only connection in a snapshot that other programs can share, and its name."""
    address, environment = address_of(params)
    try:
        with psycopg.connect(address, password=environment.get("PGPASSWORD")) as own:
            own.isolation_level = IsolationLevel.REPEATABLE_READ
            own.read_only = True
            row = own.execute("SELECT pg_export_snapshot()").fetchone()
            assert row is not None
            yield own, row[0]
    except psycopg.OperationalError as error:
        raise BackupError(AWAY.format(why=str(error).strip())) from error


def make(folder: Path, at: datetime) -> Made:
    """Back up the database of the settings into ``folder``; ``at`` gives the file its name.

    Raises BackupError; what lies in the folder under a backup's name is always whole.
    """
    made_folder(folder)
    with alone_in(folder):
        path = folder / f"{STEM}{at.strftime(MOMENT)}{DUMP}"
        manifest = dump(path, at)
        keep = {
            "daily": settings.BACKUP_KEEP_DAILY,
            "weekly": settings.BACKUP_KEEP_WEEKLY,
            "monthly": settings.BACKUP_KEEP_MONTHLY,
        }
        removed = rotate(folder, **keep)
        copies: list[Path | str] = []
        troubles = []
        for elsewhere in settings.BACKUP_COPIES:
            try:
                if isinstance(elsewhere, str):
                    bucket().copy_to(elsewhere, path, manifest)
                    bucket().rotate(elsewhere, **keep)
                else:
                    copy_to(elsewhere, path, manifest)
                    rotate(elsewhere, **keep)
                copies.append(elsewhere)
            except BackupError as error:
                troubles.append(str(error))
    return Made(path, manifest, removed, copies, troubles)


def bucket() -> Any:
    """What knows S3-style addresses. Raises BackupError where boto3 is not installed."""
    try:
        return import_module("config.backup.bucket")
    except ModuleNotFoundError as error:
        raise BackupError(NO_BOTO3) from error


def dump(path: Path, at: datetime) -> Manifest:
    """Write the dump and its manifest. Raises BackupError; then neither of them is there."""
    params = connection_params()
    part = path.with_name(f"{path.name}.part")
    try:
        # The file is made first, so that nobody else can read it while it grows.
        part.touch(mode=0o600)
        with snapshot(params) as (own, name):
            pg_dump = program("pg_dump", own.info.server_version // 10000)
            run(dump_command(pg_dump, params, name, part), address_of(params)[1])
            holds = count(own)
        settle(part)
        manifest = Manifest(
            file=path.name,
            made_at=at,
            size=part.stat().st_size,
            sha256=sum_of(part),
            program=major_of(pg_dump),
            holds=holds,
        )
        part.rename(path)
        write_whole(manifest_of(path), json.dumps(manifest.as_dict(), indent=1))
    except OSError as error:
        path.unlink(missing_ok=True)
        raise BackupError(f"{path} cannot be written: {error.strerror}.") from error
    finally:
        part.unlink(missing_ok=True)
    return manifest


def dump_command(
    pg_dump: Path, params: Mapping[str, Any], snapshot_name: str, part: Path
) -> list[str | Path]:
    """The command line of the dump; secrets go by the environment."""
    options = ["--format=custom", f"--compress={COMPRESSION}", "--no-owner", "--no-privileges"]
    options += ["--no-password", f"--snapshot={snapshot_name}", f"--file={part}"]
    return [pg_dump, *options, f"--dbname={address_of(params)[0]}"]


def last_backup(folder: Path) -> Manifest | None:
    """The newest backup of a folder that is there in full length; None when there is none."""
    for _, path in sorted(backups_in(folder).items(), reverse=True):
        try:
            manifest = read_manifest(path)
            if path.stat().st_size == manifest.size:
                return manifest
        except (BackupError, OSError):
            continue
    return None
