"""Write an export: beside its place first, then moved there; by its name it is whole."""

import csv
import json
import os
import shutil
from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import IO, Any

from django.conf import settings
from django.contrib.auth.models import User
from django.db import connection, transaction

from config.export import ExportError, dictionary
from config.export.tables import Table, all_tables, cell, rows_of
from config.models import SealedDay, Upload
from config.papers import file_name
from config.papers.table_file import BYTE_ORDER_MARK
from config.seals.lines import dumped, plain
from config.seals.reading import all_names, lines_of
from config.seals.sealing import by_fields

SCRIPT = "verify_chain.py"
HELD_AT_MOST = 20_000
THERE_ALREADY = "{path} is there already. Name a folder that is not; nothing was written."
CANNOT_WRITE = "{path} cannot be written: {why}. Nothing is left of it."
README = """\
The book of a dairy estate, exported from Swardline at {at} (UTC).

entries/     one file for each kind of entry, as CSV and as JSON lines (one object a line), struck
             entries too: "struck_at" says since when
tables/      what is computed from the entries or kept beside them
files/       the files that were taken in, as they came, by their number
chain/       the sealed days: days.jsonl and the lines of each day. Check them without Swardline:
             python3 {script} . [HEAD AS PRINTED]
people.*     who the numbers in "by" stand for
dictionary.* every column: label, type, values, what it refers to

The JSON lines are exact. In the CSV files a text that a spreadsheet would take for a formula has
an apostrophe before it. Keep this folder as carefully as the book: it holds names of people.
"""


@dataclass(frozen=True)
class Exported:
    """What was written: rows by file, sealed days, files taken in."""

    folder: Path
    rows: dict[str, int]
    days: int
    files: int


@contextmanager
def one_moment() -> Iterator[None]:
    """Read everything as it stands at one moment."""
    nested = connection.in_atomic_block
    with transaction.atomic():
        if not nested:
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        yield


def export(folder: Path, at: datetime) -> Exported:
    """Write the whole book into a folder that is not there yet. Raises ExportError."""
    if folder.exists():
        raise ExportError(THERE_ALREADY.format(path=folder))
    part = folder.with_name(f"{folder.name}.part")
    try:
        shutil.rmtree(part, ignore_errors=True)
        part.mkdir(mode=0o700, parents=True)
        with one_moment():
            written = write_all(part, at)
        part.rename(folder)
    except OSError as error:
        shutil.rmtree(part, ignore_errors=True)
        raise ExportError(CANNOT_WRITE.format(path=folder, why=error.strerror)) from error
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
    return Exported(folder, **written)


def write_all(folder: Path, at: datetime) -> dict[str, Any]:
    """Write every file of an export; what was counted."""
    tables = list(all_tables())
    rows = {table.name: write_table(folder, table) for table in tables}
    rows["people"] = write_rows(folder / "people", PEOPLE, people())
    lines = [line for table in tables for line in dictionary.entries_of(table)]
    write_rows(
        folder / "dictionary",
        dictionary.HEADS,
        ([line[head] for head in dictionary.HEADS] for line in lines),
    )
    days = write_chain(folder / "chain")
    shutil.copyfile(settings.BASE_DIR / "tools" / SCRIPT, folder / SCRIPT)
    (folder / "README.txt").write_text(README.format(at=plain(at), script=SCRIPT), encoding="utf-8")
    return {"rows": rows, "days": days, "files": write_files(folder / "files")}


def write_table(folder: Path, table: Table) -> int:
    """One table; how many rows."""
    return write_rows(
        folder / table.name, [field.attname for field in table.fields], rows_of(table)
    )


def write_rows(stem: Path, heads: Iterable[str], rows: Iterable[list[Any]]) -> int:
    """Rows as CSV and as JSON lines, in one pass; how many."""
    names, number = list(heads), 0
    stem.parent.mkdir(exist_ok=True)
    with opened(stem, ".csv") as table_file, opened(stem, ".jsonl") as lines:
        table_file.write(BYTE_ORDER_MARK)
        writer = csv.writer(table_file)
        writer.writerow(names)
        for row in rows:
            writer.writerow([cell(value) for value in row])
            json.dump(dict(zip(names, row, strict=True)), lines, ensure_ascii=False)
            lines.write("\n")
            number += 1
    return number


def opened(stem: Path, ending: str) -> IO[str]:
    """A new file for text, which only this account reads."""
    path = stem.with_name(stem.name + ending)
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    return os.fdopen(handle, "w", encoding="utf-8", newline="")


PEOPLE = ("id", "username", "name", "active", "roles", "since", "last_seen")


def people() -> Iterator[list[Any]]:
    """Who the numbers of people stand for; no password and no token is among it."""
    for user in User.objects.order_by("pk").prefetch_related("groups"):
        roles = sorted(group.name for group in user.groups.all())
        yield [
            user.pk,
            user.username,
            user.get_full_name(),
            user.is_active,
            ", ".join(roles),
            plain(user.date_joined),
            plain(user.last_login),
        ]


def write_files(folder: Path) -> int:
    """The files that were taken in, each under its number and a safe name; how many."""
    folder.mkdir()
    number = 0
    for upload in Upload.objects.order_by("pk").iterator(1):
        stem, _, ending = upload.name.rpartition(".")
        name = file_name(stem or upload.name, safe_ending(ending) if stem else "txt")
        (folder / f"{upload.pk}-{name}").write_bytes(bytes(upload.content))
        number += 1
    return number


def safe_ending(ending: str) -> str:
    """The ending of a file's name, when it is an ordinary one."""
    return ending.lower() if ending.isascii() and ending.isalnum() and len(ending) <= 8 else "txt"


def write_chain(folder: Path) -> int:
    """The seals, and the lines of each sealed day as they were summed; how many days."""
    folder.mkdir()
    days = list(SealedDay.objects.order_by("day").defer("marks"))
    with opened(folder / "days", ".jsonl") as file:
        for day in days:
            told = {"day": plain(day.day), "before": day.before, "head": day.head}
            file.write(dumped({**told, "parts": day.parts}).decode() + "\n")
            (folder / f"{day.day}.jsonl").touch(mode=0o600)
    for name in all_names():
        write_lines(folder, name, days)
    return len(days)


def write_lines(folder: Path, name: str, days: list[SealedDay]) -> None:
    """The lines of one kind, each into the file of its day, with the columns that were sealed."""
    for columns, several in by_fields(name, days).items():
        mine = {day.day for day in several}
        held: dict[date, list[bytes]] = defaultdict(list)
        until = several[-1].day + timedelta(days=1)
        for number, line in enumerate(lines_of(name, several[0].day, until, columns or None), 1):
            if line.day in mine:
                held[line.day].append(line.text + b"\n")
            if number % HELD_AT_MOST == 0:
                append(folder, held)
        append(folder, held)


def append(folder: Path, held: dict[date, list[bytes]]) -> None:
    """Write down the lines that were held, and hold none."""
    for day, texts in held.items():
        with (folder / f"{day}.jsonl").open("ab") as file:
            file.writelines(texts)
    held.clear()
