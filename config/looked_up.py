"""What the checks of an entry need not ask the database, and what they ask of it besides."""

from django.db import connection, models


def at_hand(row: models.Model) -> set[str]:
    """The fields by which a row names others that were read from the book, and so are in it.

    Nothing is deleted from the book, and the database refuses a name of nothing all the same.
    """
    found = set()
    for field in row._meta.concrete_fields:
        if isinstance(field, models.ForeignKey):
            named = field.get_cached_value(row, default=None)
            if named is not None and not named._state.adding:
                number = getattr(named, field.target_field.attname)
                if number == getattr(row, field.attname):
                    found.add(field.name)
    return found


def still_answers() -> None:
    """Ask the database for nothing. Raises OperationalError when it has gone meanwhile."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
