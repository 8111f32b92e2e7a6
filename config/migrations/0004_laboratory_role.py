"""The role of a laboratory: it sends in its results by program, and may do nothing else."""

from django.db import migrations

from config.at_once import AtOnce
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.state import StateApps

ROLE = "laboratory"


def add(apps: StateApps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """Add what is not there yet."""
    apps.get_model("auth", "Group").objects.get_or_create(name=ROLE)


class Migration(AtOnce):
    dependencies = [("config", "0003_clock_corrections")]
    operations = [migrations.RunPython(add, migrations.RunPython.noop)]
