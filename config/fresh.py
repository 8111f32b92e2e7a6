"""First migrations of an app, carried out at once.

Django renders every related model again after each step of a migration. An app of thirty tables
with their indexes, rules and triggers is two hundred steps, and most of a minute. Nothing is in
those tables yet, so they can as well be made in the shape they have at the end of the migration.
"""

from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations import AddConstraint, AddField, AddIndex, CreateModel, Migration
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState

# CREATE TABLE in the final shape brings these along, when their model is made here as well.
BROUGHT_ALONG = (AddField, AddIndex, AddConstraint)


class FreshTables(Migration):
    """A migration that makes tables; the base class of each app's ``0001_initial``."""

    def apply(
        self,
        project_state: ProjectState,
        schema_editor: BaseDatabaseSchemaEditor,
        collect_sql: bool = False,
    ) -> ProjectState:
        """Make the tables as they are at the end of the migration. Returns that state."""
        if collect_sql:
            return super().apply(project_state, schema_editor, collect_sql)
        state = project_state.clone()
        # Not rendered on the way: the first look at a model renders all of them, once.
        state.__dict__.pop("apps", None)
        for operation in self.operations:
            operation.state_forwards(self.app_label, state)
        made: set[str] = set()
        for operation in self.operations:
            if isinstance(operation, CreateModel):
                made.add(operation.name_lower)
            elif isinstance(operation, BROUGHT_ALONG) and model_of(operation) in made:
                continue
            operation.database_forwards(self.app_label, schema_editor, state, state)
        return state


def model_of(operation: Operation) -> str:
    """The model an operation changes, in lower case."""
    return str(getattr(operation, "model_name", "")).lower()
