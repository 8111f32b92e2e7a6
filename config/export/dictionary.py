"""The dictionary of an export: every column of every file, made from the models themselves."""

from collections.abc import Iterator
from typing import Any

from django.db import models

from config.entries import Entry
from config.export.tables import Table
from config.seals.reading import models_by_name
from config.triggers import STRIKE_COLUMNS, derived_columns

HEADS = (
    "file", "column", "label", "type", "may be empty", "values", "refers to", "comes from", "help",
)  # fmt: skip
WORDS: tuple[tuple[type[Any], str], ...] = (
    (models.BooleanField, "true or false"),
    (models.UUIDField, "number (UUID)"),
    (models.DateTimeField, "moment, ISO 8601, UTC"),
    (models.DateField, "day, ISO 8601"),
    (models.TimeField, "time of day, ISO 8601"),
    (models.JSONField, "JSON"),
    (models.TextField, "text"),
    (models.IntegerField, "whole number"),
)


def entries_of(table: Table) -> Iterator[dict[str, Any]]:
    """One line for each column of a table."""
    for field in table.fields:
        yield {
            "file": table.name,
            "column": field.attname,
            "label": str(field.verbose_name),
            "type": type_of(field),
            "may be empty": field.null or field.blank,
            "values": values_of(field),
            "refers to": target_of(field),
            "comes from": origin_of(table.model, field),
            "help": str(field.help_text or ""),
        }


def type_of(field: Any) -> str:
    """What a column holds, in words."""
    if field.is_relation:
        return "key of another row"
    if isinstance(field, models.DecimalField):
        return f"decimal, {field.max_digits} digits, {field.decimal_places} of them after the point"
    if isinstance(field, models.CharField):
        return f"text, at most {field.max_length} characters"
    for kind, words in WORDS:
        if isinstance(field, kind):
            return words
    return str(field.get_internal_type())


def values_of(field: Any) -> str:
    """The words of a choice ("M = morning; E = evening"); "" when any value may stand."""
    return "; ".join(f"{value} = {label}" for value, label in field.flatchoices)


def target_of(field: Any) -> str:
    """The column another row is named by."""
    if not field.is_relation:
        return ""
    model = field.related_model
    names = {each: name for name, each in models_by_name().items()}
    if model in names:
        return f"entries/{names[model]}, id"
    if model._meta.label == "auth.User":
        return "people, id"
    return f"tables/{model._meta.db_table}, id"


def origin_of(model: type[models.Model], field: Any) -> str:
    """Whether a person wrote it, whether it belongs to the entry as such, or was computed."""
    if not issubclass(model, Entry):
        return "the program"
    if field.column in derived_columns(model):
        return "computed from entries"
    if field.column in STRIKE_COLUMNS:
        return "the strike"
    return "the stamp" if field.name in STAMP else "the entry"


STAMP = {field.name for field in Entry._meta.get_fields() if hasattr(field, "column")}
