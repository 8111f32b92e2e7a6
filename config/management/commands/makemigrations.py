"""`makemigrations`, which lets an app's first migration make its tables at once."""

from pathlib import Path
from typing import Any

from django.core.management.commands import makemigrations
from django.db.migrations import Migration
from django.db.migrations.writer import MigrationWriter

PLAIN_BASE = "class Migration(migrations.Migration):"
PLAIN_IMPORT = "from django.db import migrations, models\n"
FRESH_BASE = "class Migration(FreshTables):"
FRESH_IMPORT = f"{PLAIN_IMPORT}\nfrom config.fresh import FreshTables\n"


class Command(makemigrations.Command):
    """Django's own command; only the base class of first migrations differs (config/fresh.py)."""

    def write_migration_files(self, changes: dict[str, list[Migration]], *args: Any) -> None:
        """Write the files, then put the base class into those that are an app's first."""
        super().write_migration_files(changes, *args)
        for migrations in changes.values():
            for migration in migrations:
                path = Path(MigrationWriter(migration).path)
                if getattr(migration, "initial", False) and path.exists():
                    path.write_text(with_fresh_tables(path.read_text()))


def with_fresh_tables(source: str) -> str:
    """The source of a first migration with FreshTables as its base."""
    if PLAIN_BASE not in source or PLAIN_IMPORT not in source:
        return source
    return source.replace(PLAIN_IMPORT, FRESH_IMPORT).replace(PLAIN_BASE, FRESH_BASE)
