"""A backup is whole or not there, and what is restored from it is what the book held."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import psycopg
import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from psycopg import sql

from config import tasks
from config.backup import BackupError, files, making, manifest_of, programs, restoring
from config.backup.counting import count
from config.backup.programs import address_of
from config.entries import strike
from config.models import JobRun
from tests.factories.feed import make_batch
from tests.factories.herd import make_animal

AT = datetime(2026, 6, 3, 2, 0, tzinfo=UTC)
# What a real connection writes must be there for pg_dump.
pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def empty() -> Iterator[dict[str, Any]]:
    """Parameters of an empty database beside the tests' own."""
    params = making.connection_params()
    name = f"restored_{uuid4().hex[:8]}"
    own = {**params, "dbname": "postgres"}
    with psycopg.connect(address_of(own)[0], autocommit=True) as server:
        server.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        yield {**params, "dbname": name}
        server.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


@pytest.fixture
def book(vet: Any) -> Any:
    """A small book: animals, one of them struck, and a load."""
    animals = [make_animal() for _ in range(3)]
    strike(animals[0], by=vet, reason="twice")
    make_batch()
    return animals


def rows_of(params: dict[str, Any], table: str) -> list[str]:
    with psycopg.connect(address_of(params)[0]) as own:
        own.execute("SET timezone = 'UTC'")
        query = sql.SQL("SELECT row_to_json(r)::text FROM {} AS r").format(sql.Identifier(table))
        return sorted(text for (text,) in own.execute(query).fetchall())


def test_what_was_backed_up_comes_back_row_by_row(book, empty, tmp_path: Path) -> None:
    made = making.make(tmp_path, AT)

    restored = restoring.restore(made.path, empty)

    assert restored.differences == []
    assert restored.holds.kinds["animals"] == (2, 1)
    assert restored.holds.newest_entry
    here = making.connection_params()
    assert "herd_animal" in restored.holds.tables
    for table, (rows, _) in restored.holds.tables.items():
        mine, theirs = rows_of(here, table), rows_of(empty, table)
        assert mine == theirs, table
        assert len(mine) == rows


def test_the_restored_book_refuses_what_the_book_refuses(book, empty, tmp_path: Path) -> None:
    restoring.restore(making.make(tmp_path, AT).path, empty)

    with psycopg.connect(address_of(empty)[0]) as own:
        with pytest.raises(psycopg.errors.RestrictViolation, match="never deleted"):
            own.execute("DELETE FROM herd_animal")
        own.rollback()
        with pytest.raises(psycopg.errors.RestrictViolation, match="never changed"):
            own.execute("UPDATE herd_animal SET device = 'x'")


def test_a_row_that_was_changed_or_lost_on_the_way_is_told(book, empty, tmp_path: Path) -> None:
    made = making.make(tmp_path, AT)
    restoring.restore(made.path, empty)

    with psycopg.connect(address_of(empty)[0]) as own:
        own.execute("SET session_replication_role = replica")
        own.execute("UPDATE herd_animal SET device = 'x' WHERE id = %s", [book[1].pk])
        own.execute("DELETE FROM feed_foragebatch")
        told = restoring.differences(made.manifest.holds, count(own))

    assert "table herd_animal has as many rows as before, but not with the same content" in told
    assert "table feed_foragebatch had 1 rows and has 0" in told
    assert "forage batches: 1 standing and 0 struck before, 0 and 0 now" in told


def test_it_counts_in_the_snapshot_that_is_dumped(
    book, empty, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = making.run

    def run_and_write(command: Any, environment: Any) -> None:
        # An entry that comes while the dump is written belongs to the next backup.
        make_animal()
        real(command, environment)

    monkeypatch.setattr(making, "run", run_and_write)

    made = making.make(tmp_path, AT)

    assert made.manifest.holds.kinds["animals"] == (2, 1)
    assert restoring.restore(made.path, empty).differences == []


def test_it_is_restored_into_an_empty_database_only(book, tmp_path: Path) -> None:
    made = making.make(tmp_path, AT)
    before = rows_of(making.connection_params(), "herd_animal")

    with pytest.raises(BackupError, match="is not empty: it has .* tables"):
        restoring.restore(made.path, making.connection_params())

    assert rows_of(making.connection_params(), "herd_animal") == before


@pytest.mark.parametrize(
    ("harm", "words"),
    [
        (lambda path: path.write_bytes(path.read_bytes()[:-9]), "cut off or was changed"),
        (
            lambda path: path.write_bytes(
                bytes([path.read_bytes()[0] ^ 1]) + path.read_bytes()[1:]
            ),
            "is damaged: its SHA-256",
        ),
        (lambda path: path.unlink(), "There is no file"),
        (lambda path: manifest_of(path).unlink(), "without it nobody can tell"),
        (lambda path: manifest_of(path).write_text("{}"), "is no manifest of a backup"),
        (lambda path: manifest_of(path).write_text("[1]"), "is no manifest of a backup"),
        (lambda path: manifest_of(path).write_bytes(b"\xff"), "is no manifest of a backup"),
    ],
)
def test_a_file_that_is_not_what_was_written_is_not_restored(
    book, empty, tmp_path: Path, harm: Any, words: str
) -> None:
    made = making.make(tmp_path, AT)
    harm(made.path)

    with pytest.raises(BackupError, match=words):
        restoring.restore(made.path, empty)

    with psycopg.connect(address_of(empty)[0]) as own:
        restoring.check_empty(own)


def test_a_dump_that_fails_leaves_nothing_that_looks_like_a_backup(
    book, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    false = tmp_path / "pg_dump"
    false.write_text("#!/bin/sh\necho 'no room on the disk' >&2\nexit 3\n")
    false.chmod(0o755)
    monkeypatch.setattr(making, "program", lambda name, least: false)
    folder = tmp_path / "backups"

    with pytest.raises(BackupError, match="pg_dump ended with code 3: no room on the disk"):
        making.make(folder, AT)

    assert [path.name for path in folder.iterdir()] == [".lock"]


def test_only_this_account_reads_it(book, tmp_path: Path) -> None:
    made = making.make(tmp_path / "new", AT)

    assert made.path.parent.stat().st_mode & 0o777 == 0o700
    assert made.path.stat().st_mode & 0o777 == 0o600
    assert manifest_of(made.path).stat().st_mode & 0o777 == 0o600


def test_two_at_once_do_not_meet(book, tmp_path: Path) -> None:
    with files.alone_in(tmp_path):
        assert files.is_under_way(tmp_path)
        with pytest.raises(BackupError, match="is under way"):
            making.make(tmp_path, AT)
    assert not files.is_under_way(tmp_path)


def test_a_copy_elsewhere_is_read_back_and_a_missing_disk_is_told(
    book, empty, tmp_path: Path, settings: Any
) -> None:
    disk, away = tmp_path / "disk", tmp_path / "away"
    disk.mkdir()
    settings.BACKUP_COPIES = [disk, away]

    made = making.make(tmp_path / "here", AT)

    assert made.copies == [disk]
    assert made.troubles == [f"There is no folder {away} for the copy: is the disk attached?"]
    assert not away.exists()
    assert restoring.restore(disk / made.path.name, empty).differences == []


def test_old_ones_go_and_other_files_stay(book, tmp_path: Path, settings: Any) -> None:
    settings.BACKUP_KEEP_DAILY, settings.BACKUP_KEEP_WEEKLY, settings.BACKUP_KEEP_MONTHLY = 2, 0, 0
    (tmp_path / "notes.txt").write_text("mine")
    made = [making.make(tmp_path, AT + timedelta(days=day)) for day in range(3)]

    assert made[2].removed == [made[0].path]
    assert sorted(path.name for path in tmp_path.iterdir() if path.suffix in (".dump", ".txt")) == [
        "notes.txt",
        made[1].path.name,
        made[2].path.name,
    ]
    assert not manifest_of(made[0].path).exists()


def test_the_last_backup_is_one_that_is_there_in_full(book, tmp_path: Path) -> None:
    assert making.last_backup(tmp_path / "nowhere") is None
    first = making.make(tmp_path, AT)
    second = making.make(tmp_path, AT + timedelta(days=1))
    second.path.write_bytes(b"half")

    last = making.last_backup(tmp_path)

    assert last is not None
    assert last.file == first.path.name


def test_the_command_says_what_it_made_and_the_other_that_it_is_the_same(
    book, empty, tmp_path: Path, capsys: Any
) -> None:
    call_command("backup", to=tmp_path)
    said = capsys.readouterr().out
    dump = next(tmp_path.glob("*.dump"))
    assert str(dump) in said
    assert "SECRET_KEY" in said
    run = JobRun.objects.get(name=tasks.BACKUP_JOB)
    assert run.error == ""
    assert run.counted["bytes"] == dump.stat().st_size

    url = "postgresql://{user}@/{dbname}?host={host}".format(**empty)
    call_command("restore", dump, into=url)
    said = capsys.readouterr().out
    assert "Every table has the rows and the content it had then" in said
    # What the program says of it, pointed at the restored database.
    assert "Computed again from the entries: withdrawal periods" in said
    assert "Everything is as it was written." in said

    with pytest.raises(CommandError, match="is not empty"):
        call_command("restore", dump, into=url, json=True)
    with pytest.raises(CommandError, match="--into is not an address of a PostgreSQL database"):
        call_command("restore", dump, into="nonsense")
    with pytest.raises(CommandError, match="cannot be reached"):
        call_command("restore", dump, into="postgresql://x@127.0.0.1:9/none")


def test_for_programs_it_is_json(book, tmp_path: Path, capsys: Any) -> None:
    call_command("backup", to=tmp_path, json=True)

    told = json.loads(capsys.readouterr().out)

    assert told["holds"]["kinds"]["animals"] == [2, 1]
    assert told["troubles"] == []


def test_the_job_makes_the_days_backup_once(book, tmp_path: Path, settings: Any) -> None:
    settings.BACKUP_FOLDER = tmp_path / "backups"

    assert tasks.back_up()["bytes"] > 0
    assert tasks.back_up() == {}
    assert len(list(settings.BACKUP_FOLDER.glob("*.dump"))) == 1


def test_a_copy_that_fails_fails_the_job_and_keeps_the_backup(
    book, tmp_path: Path, settings: Any
) -> None:
    settings.BACKUP_FOLDER, settings.BACKUP_COPIES = tmp_path / "backups", [tmp_path / "away"]

    with pytest.raises(BackupError, match="a copy of it is not"):
        tasks.back_up()

    assert making.last_backup(settings.BACKUP_FOLDER) is not None
    assert "is the disk attached" in JobRun.objects.get(name=tasks.BACKUP_JOB).error


def test_a_password_stands_in_no_command_line() -> None:
    address, environment = address_of(
        {"dbname": "book", "user": "u", "password": "s3cret", "host": "h", "pool": True}
    )

    assert "s3cret" not in address
    assert environment["PGPASSWORD"] == "s3cret"


def test_without_a_fitting_program_it_says_which_to_install() -> None:
    with pytest.raises(BackupError, match="There is no pg_dump of PostgreSQL 999 or newer"):
        programs.program("pg_dump", 999)


def test_the_tests_own_folder_is_not_the_estates() -> None:
    assert "test" in settings.BACKUP_FOLDER.parts
