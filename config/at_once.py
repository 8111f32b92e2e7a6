"""Migrations carried out at once, each table in the shape it has at the end of its migration.

Django renders every related model again after each step of a migration, and every entry is related
to whoever wrote it. An app of thirty tables with their indexes, rules and triggers is two hundred
steps of a tenth of a second. Nearly all of them come out the same when they look at the models as
they are at the end, which are rendered once.
"""

from collections.abc import Iterable

from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations import (
    AddConstraint,
    AddField,
    AddIndex,
    AlterField,
    CreateModel,
    Migration,
    RemoveConstraint,
    RemoveField,
    RemoveIndex,
    RenameField,
)
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState
from pgtrigger.migrations import AddTrigger

# Steps that only add: they may look at the models as they are at the end.
ADDS = (AddField, AddIndex, AddConstraint, AddTrigger)
# CREATE TABLE in the final shape brings these along, when their model is made here as well.
BROUGHT_ALONG = (
    AddField,
    AlterField,
    RemoveField,
    AddIndex,
    RemoveIndex,
    AddConstraint,
    RemoveConstraint,
)
CHANGES_A_FIELD = (AlterField, RemoveField, RenameField)


class AtOnce(Migration):
    """The base class of our migrations."""

    def apply(
        self,
        project_state: ProjectState,
        schema_editor: BaseDatabaseSchemaEditor,
        collect_sql: bool = False,
    ) -> ProjectState:
        """Bring the tables to the shape they have at the end. Returns the state of then."""
        if collect_sql:
            return super().apply(project_state, schema_editor, collect_sql)
        end = unrendered(project_state)
        for operation in self.operations:
            operation.state_forwards(self.app_label, end)
        changed = fields_changed(self.operations)
        made: set[str] = set()
        now = unrendered(project_state)
        for operation in self.operations:
            before, now = now, unrendered(now)
            operation.state_forwards(self.app_label, now)
            if isinstance(operation, CreateModel):
                made.add(operation.name_lower)
            elif isinstance(operation, BROUGHT_ALONG) and model_of(operation) in made:
                continue
            elif not isinstance(operation, ADDS) or field_of(operation) in changed:
                operation.database_forwards(self.app_label, schema_editor, before, now)
                continue
            operation.database_forwards(self.app_label, schema_editor, end, end)
        return end


def unrendered(state: ProjectState) -> ProjectState:
    """A copy of a state whose models are rendered when somebody looks at them, and not before."""
    copy = state.clone()
    copy.__dict__.pop("apps", None)
    return copy


def model_of(operation: Operation) -> str:
    """The model an operation changes, in lower case."""
    return str(getattr(operation, "model_name", "")).lower()


def field_of(operation: Operation) -> tuple[str, str] | None:
    """The model and field that are added; None for another operation."""
    if isinstance(operation, AddField):
        return model_of(operation), operation.name_lower
    return None


def fields_changed(operations: Iterable[Operation]) -> set[tuple[str, str] | None]:
    """The fields, by model and name, that look otherwise at the end than where they are added."""
    found: set[tuple[str, str] | None] = set()
    for operation in operations:
        if isinstance(operation, RenameField):
            found.add((model_of(operation), operation.old_name_lower))
        elif isinstance(operation, CHANGES_A_FIELD):
            found.add((model_of(operation), operation.name_lower))
    return found
