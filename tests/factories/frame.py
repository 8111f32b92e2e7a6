"""One row of any kind of entry, for tests that go through all of them."""

from datetime import date, time
from decimal import Decimal
from typing import Any

from django.db import models

from config.entries import Entry
from tests.factories import feed, herd, milk

STAMP = {field.name for field in Entry._meta.fields}
# Values a plain guess would not meet, because a rule of the table asks for them.
NEEDED: dict[str, dict[str, Any]] = {}


def make_any(model: type[Entry]) -> Entry:
    """A standing entry of a model: by the factory of its app when there is one, else guessed."""
    name = f"make_{snake(model.__name__)}"
    for module in (herd, feed, milk):
        factory = getattr(module, name, None)
        if factory is not None:
            made: Entry = factory()
            return made
    guessed: Entry = herd.make(model, **{**guesses(model), **NEEDED.get(model.__name__, {})})
    return guessed


def snake(name: str) -> str:
    """A class name as a function's ("ForageBatch" to "forage_batch")."""
    return "".join(f"_{c.lower()}" if c.isupper() else c for c in name).lstrip("_")


def guesses(model: type[Entry]) -> dict[str, Any]:
    """A value for each column that must be filled."""
    return {
        field.name: guess(field)
        for field in model._meta.fields
        if field.name not in STAMP and not field.null and not field.has_default()
    }


def guess(field: Any) -> Any:
    """A value a column takes."""
    if field.many_to_one:
        return make_any(field.related_model)
    if field.choices:
        return field.choices[0][0]
    match field:
        case models.CharField():
            return "" if field.blank else "x"
        case models.BooleanField():
            return False
        case models.DateTimeField():
            return herd.NOON
        case models.DateField():
            return date(2026, 6, 2)
        case models.TimeField():
            return time(4, 30)
        case models.DecimalField():
            return Decimal(1)
    return 1
