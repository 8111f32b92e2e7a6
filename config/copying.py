"""Many rows into one table at once, by COPY; for files, where row by row would take minutes."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from django.db import connection, models
from psycopg import sql

MANY = 1000


def copy_rows(model: type[models.Model], rows: Iterable[Mapping[str, Any]]) -> int:
    """Insert rows given as column name (``animal_id``) -> value; the number written.

    What a row leaves out gets the field's default; keys that are numbers of their own come from the
    database. Nothing is validated but what the database itself refuses.
    """
    fields = [
        field
        for field in model._meta.concrete_fields
        if field.column and not isinstance(field, models.AutoField)
    ]
    defaults = [(str(field.attname), default_of(field)) for field in fields]
    table = sql.Identifier(model._meta.db_table)
    columns = sql.SQL(", ").join(sql.Identifier(str(field.column)) for field in fields)
    written = 0
    with connection.cursor() as cursor:
        raw: Any = cursor
        with raw.copy(sql.SQL("COPY {} ({}) FROM STDIN").format(table, columns)) as copy:
            for row in rows:
                copy.write_row(
                    [row[name] if name in row else default() for name, default in defaults]
                )
                written += 1
        if written >= MANY:
            # Within a transaction nobody else tells the planner of the new rows, and what is
            # computed from them next would be planned as if the table were empty.
            cursor.execute(sql.SQL("ANALYZE {}").format(table))
    return written


def default_of(field: "models.Field[Any, Any]") -> Callable[[], Any]:
    """What gives the value of a field that a row leaves out."""
    if callable(field.default) and field.has_default():
        maker: Callable[[], Any] = field.default
        return maker
    value = field.get_default()
    return lambda: value
