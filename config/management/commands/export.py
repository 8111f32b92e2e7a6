"""Everything of the book in open formats: `manage.py export FOLDER`."""

import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db.utils import OperationalError
from django.utils import timezone

from config.export import ExportError
from config.export.writing import Exported, export

TOLD = (
    "{folder}: {rows:,} rows in {tables} tables, {files} files, {days} sealed days. README.txt "
    "says what is what; keep it as carefully as the book, it holds names of people."
)


class Command(BaseCommand):
    help = (
        "Write everything into a new folder as CSV and JSON lines, with a dictionary of every "
        "column, the files that were taken in, and the sealed days."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("folder", type=Path, help="a folder that is not there yet")
        parser.add_argument("--json", action="store_true", help="say it for programs")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            done = export(options["folder"].expanduser().absolute(), timezone.now())
        except ExportError as error:
            raise CommandError(str(error)) from error
        except OperationalError as error:
            raise CommandError(f"The database cannot be reached: {error}") from error
        self.stdout.write(json.dumps(as_dict(done), indent=1) if options["json"] else told(done))


def as_dict(done: Exported) -> dict[str, Any]:
    return {"folder": str(done.folder), "rows": done.rows, "days": done.days, "files": done.files}


def told(done: Exported) -> str:
    return TOLD.format(
        folder=done.folder,
        rows=sum(done.rows.values()),
        tables=len(done.rows),
        files=done.files,
        days=done.days,
    )
