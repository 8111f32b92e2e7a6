"""First migrations make their tables at once, and end in the same shape as step by step."""

import pytest
from django.db import connection, migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.state import ProjectState

from config.fresh import FreshTables
from config.management.commands.makemigrations import with_fresh_tables

OUR_APPS = ("config", "herd", "feed", "milk")
OPERATIONS = [
    migrations.CreateModel(
        "Heap", [("id", models.AutoField(primary_key=True)), ("kg", models.IntegerField())]
    ),
    migrations.CreateModel("Fork", [("id", models.AutoField(primary_key=True))]),
    migrations.AddField("Fork", "heap", models.ForeignKey("meadow.Heap", models.PROTECT)),
    migrations.AddIndex("Heap", models.Index(fields=["kg"], name="meadow_heap_kg")),
    migrations.AddConstraint(
        "Heap", models.CheckConstraint(condition=models.Q(kg__gte=0), name="meadow_heap_weighs")
    ),
]


def step_by_step() -> migrations.Migration:
    class StepByStep(migrations.Migration):
        operations = OPERATIONS

    return StepByStep("0001_initial", "meadow")


def at_once() -> migrations.Migration:
    class AtOnce(FreshTables):
        operations = OPERATIONS

    return AtOnce("0001_initial", "meadow")


def shape_after(migration: migrations.Migration) -> set[tuple[str, ...]]:
    """Columns, indexes and rules of what a migration makes; the tables go again."""
    with connection.schema_editor() as editor:
        state = migration.apply(ProjectState(), editor)
    shape = described()
    with connection.schema_editor() as editor:
        drop(state, editor)
    return shape


def described() -> set[tuple[str, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT table_name, column_name, data_type, is_nullable "
            "FROM information_schema.columns WHERE table_name LIKE 'meadow%%' "
            "UNION ALL SELECT tablename, indexname, indexdef, '' "
            "FROM pg_indexes WHERE tablename LIKE 'meadow%%' "
            "UNION ALL SELECT conrelid::regclass::text, conname, pg_get_constraintdef(oid), '' "
            "FROM pg_constraint WHERE conrelid::regclass::text LIKE 'meadow%%'"
        )
        return set(cursor.fetchall())


def drop(state: ProjectState, editor: BaseDatabaseSchemaEditor) -> None:
    for name in ("fork", "heap"):
        editor.delete_model(state.apps.get_model("meadow", name))


@pytest.mark.django_db(transaction=True)
def test_the_tables_are_the_same_as_step_by_step() -> None:
    slow, fast = shape_after(step_by_step()), shape_after(at_once())

    assert fast == slow
    assert {row[1] for row in fast} >= {"kg", "heap_id", "meadow_heap_kg", "meadow_heap_weighs"}


@pytest.mark.parametrize("app", OUR_APPS)
def test_every_first_migration_makes_its_tables_at_once(app: str) -> None:
    first = MigrationLoader(None).disk_migrations[app, "0001_initial"]

    assert isinstance(first, FreshTables), (
        f"{app}/migrations/0001_initial.py takes most of a minute: make it with manage.py "
        "makemigrations, which gives it the base class FreshTables"
    )


def test_makemigrations_puts_the_base_class_in() -> None:
    source = (
        "from django.db import migrations, models\n\n\nclass Migration(migrations.Migration):\n"
    )

    changed = with_fresh_tables(source)

    assert "from config.fresh import FreshTables\n" in changed
    assert "class Migration(FreshTables):\n" in changed
    assert with_fresh_tables(changed) == changed
