"""`makemigrations`, which lets our migrations make their tables at once."""

import re
from pathlib import Path
from typing import Any

from django.core.management.commands import makemigrations
from django.db.migrations import Migration
from django.db.migrations.writer import MigrationWriter

PLAIN_BASE = "class Migration(migrations.Migration):"
PLAIN_IMPORT = re.compile(r"^from django\.db import migrations.*\n", re.MULTILINE)
AT_ONCE_BASE = "class Migration(AtOnce):"
AT_ONCE_IMPORT = "\nfrom config.at_once import AtOnce\n"


class Command(makemigrations.Command):
    """Django's own command; only the base class of what it writes differs (config/at_once.py)."""

    def write_migration_files(self, changes: dict[str, list[Migration]], *args: Any) -> None:
        """Write the files, then put the base class in."""
        super().write_migration_files(changes, *args)
        for migrations in changes.values():
            for migration in migrations:
                path = Path(MigrationWriter(migration).path)
                if path.exists():
                    path.write_text(at_once(path.read_text()))


def at_once(source: str) -> str:
    """The source of a migration with AtOnce as its base."""
    found = PLAIN_IMPORT.search(source)
    if PLAIN_BASE not in source or found is None:
        return source
    source = source.replace(PLAIN_BASE, AT_ONCE_BASE)
    return source[: found.end()] + AT_ONCE_IMPORT + source[found.end() :]
