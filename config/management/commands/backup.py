"""Back up the whole book: `manage.py backup`."""

import json
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db.utils import OperationalError
from django.utils import timezone

from config.backup import BackupError
from config.backup.making import Made, make
from config.jobs import job
from config.tasks import BACKUP_JOB, COPY_FAILED

TOLD = "{path}: {size:,} bytes, {entries:,} entries of {kinds} kinds, the newest from {newest}."
SECRET = "The key of this service (SECRET_KEY) is not in it: keep that apart."


class Command(BaseCommand):
    help = (
        "Back up the whole book into one file with a manifest beside it, check it, copy it to "
        "BACKUP_COPIES and remove the backups that need not stay."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--to", type=Path, help="folder for it (default: BACKUP_FOLDER)", metavar="FOLDER"
        )
        parser.add_argument("--json", action="store_true", help="say it for programs")

    def handle(self, *args: Any, **options: Any) -> None:
        folder = (options["to"] or settings.BACKUP_FOLDER).expanduser().absolute()
        try:
            with job(BACKUP_JOB) as counted:
                made = make(folder, timezone.now())
                counted["bytes"] = made.manifest.size
                counted["entries"] = made.manifest.holds.entries
        except BackupError as error:
            raise CommandError(str(error)) from error
        except OperationalError as error:
            raise CommandError(f"The database cannot be reached: {error}") from error
        self.tell(made, as_json=options["json"])
        if made.troubles:
            raise CommandError(" ".join((COPY_FAILED, *made.troubles)))

    def tell(self, made: Made, *, as_json: bool) -> None:
        """What was made, where it was copied and what went."""
        if as_json:
            told = {
                "path": str(made.path),
                "copies": [str(path) for path in made.copies],
                "removed": [path.name for path in made.removed],
                "troubles": list(made.troubles),
                **made.manifest.as_dict(),
            }
            self.stdout.write(json.dumps(told, indent=1))
            return
        holds = made.manifest.holds
        self.stdout.write(
            TOLD.format(
                path=made.path,
                size=made.manifest.size,
                entries=holds.entries,
                kinds=sum(map(any, holds.kinds.values())),
                newest=holds.newest_entry or "never",
            )
        )
        for path in made.copies:
            self.stdout.write(f"Copied to {path} and read back.")
        if made.removed:
            names = ", ".join(path.name for path in made.removed)
            self.stdout.write(f"Removed, as newer ones stand for them: {names}.")
        self.stdout.write(SECRET)
