"""Our migrations are carried out at once, and end in the same shape as step by step."""

import pytest
from django.db import connection, migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState

from config.at_once import AtOnce
from config.management.commands.makemigrations import at_once as with_base

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


# The tables are there and rows stand in them: a column is added, filled and tightened.
CHANGES = [
    migrations.RunSQL("INSERT INTO meadow_heap (kg) VALUES (7)", migrations.RunSQL.noop),
    migrations.AddField("Heap", "dry", models.IntegerField(null=True)),
    migrations.RunSQL("UPDATE meadow_heap SET dry = kg", migrations.RunSQL.noop),
    migrations.AlterField("Heap", "dry", models.IntegerField()),
    migrations.AlterField("Heap", "kg", models.BigIntegerField()),
    migrations.AddField("Heap", "wet", models.BooleanField(default=False)),
    migrations.RemoveConstraint("Heap", "meadow_heap_weighs"),
    migrations.RemoveField("Fork", "heap"),
    migrations.AddIndex("Heap", models.Index(fields=["dry"], name="meadow_heap_dry")),
    migrations.AddConstraint(
        "Heap", models.CheckConstraint(condition=models.Q(dry__gte=0), name="meadow_heap_dries")
    ),
    migrations.CreateModel("Barn", [("id", models.AutoField(primary_key=True))]),
    migrations.AddField("Barn", "name", models.CharField(max_length=3, null=True)),
    migrations.AlterField("Barn", "name", models.CharField(max_length=9)),
]


def step_by_step(steps: list[Operation]) -> migrations.Migration:
    class StepByStep(migrations.Migration):
        operations = steps

    return StepByStep("0001_initial", "meadow")


def at_once(steps: list[Operation]) -> migrations.Migration:
    class Quick(AtOnce):
        operations = steps

    return Quick("0001_initial", "meadow")


def shape_after(*carried_out: migrations.Migration) -> set[tuple[str, ...]]:
    """Columns, indexes and rules of what migrations make; the tables go again."""
    state = ProjectState()
    for migration in carried_out:
        with connection.schema_editor() as editor:
            state = migration.apply(state, editor)
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
    for name in sorted(model for _, model in state.models):
        editor.delete_model(state.apps.get_model("meadow", name))


@pytest.mark.django_db(transaction=True)
def test_the_tables_are_the_same_as_step_by_step() -> None:
    slow, fast = shape_after(step_by_step(OPERATIONS)), shape_after(at_once(OPERATIONS))

    assert fast == slow
    assert {row[1] for row in fast} >= {"kg", "heap_id", "meadow_heap_kg", "meadow_heap_weighs"}


@pytest.mark.django_db(transaction=True)
def test_tables_that_are_there_change_as_step_by_step() -> None:
    first = step_by_step(OPERATIONS)
    slow, fast = shape_after(first, step_by_step(CHANGES)), shape_after(first, at_once(CHANGES))

    assert fast == slow
    columns = {row[1]: row[2:] for row in fast if row[0] == "meadow_heap"}
    assert columns["kg"] == ("bigint", "NO")
    assert columns["dry"] == ("integer", "NO")
    assert columns["wet"] == ("boolean", "NO")
    assert "heap_id" not in {row[1] for row in fast}


def test_every_migration_of_ours_is_carried_out_at_once() -> None:
    on_disk = MigrationLoader(None).disk_migrations
    plain = [
        f"{app}/{name}"
        for (app, name), one in on_disk.items()
        if app in OUR_APPS and not isinstance(one, AtOnce)
    ]
    assert not plain, "manage.py makemigrations gives them the base class AtOnce"


def test_makemigrations_puts_the_base_class_in() -> None:
    source = (
        "from django.db import migrations, models\n\n\nclass Migration(migrations.Migration):\n"
    )

    changed = with_base(source)

    assert "from config.at_once import AtOnce\n" in changed
    assert "class Migration(AtOnce):\n" in changed
    assert with_base(changed) == changed
