"""What the checks of an entry need not ask the database, and what they ask of it besides."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, models, transaction


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


def save_checked(row: models.Model, **how: Any) -> None:
    """Validate a row in full and save it. Raises ValidationError by field.

    The rules of its table are left to the database, which looks at them anyway; they are asked for
    beforehand, in four to twelve statements, only where it has refused, for their words.
    """
    try:
        with transaction.atomic():
            row.full_clean(validate_unique=False, validate_constraints=False)
            row.save(**how)
    except (IntegrityError, ValidationError):
        row.full_clean()
        raise
