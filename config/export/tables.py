"""Which tables are exported, under which names, and how their values are written."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.apps import apps
from django.db import models
from django.db.backends.postgresql.psycopg_any import Range

from config.entries import Entry
from config.kinds import all_kinds
from config.papers.table_file import guarded
from config.seals.lines import plain

OURS = ("config", "herd", "feed", "milk")
# Answers kept for phones that send twice, and the state of the machine: no facts of the estate.
# Of the files the content lies beside, as files.
# Nor does anything leave by which somebody could sign in.
LEFT_OUT = {
    "config.Once",
    "config.JobRun",
    "config.JobClaim",
    "config.LastWrite",
    "config.Session",
    "config.Guesses",
    "config.OneTimeCode",
    "config.RecoveryCode",
    "config.Pin",
}
COLUMNS_LEFT_OUT = {
    "config.Upload": {"content"},
    "config.SealedDay": {"marks"},
    "config.MachineToken": {"digest", "token_key"},
    "config.SharedPhone": {"link_digest", "key_digest"},
}
CHUNK = 2000


@dataclass(frozen=True)
class Table:
    """A table to export. ``name``: the folder and stem of its files ("entries/doses")."""

    name: str
    model: type[models.Model]
    title: str
    about: str

    @property
    def fields(self) -> list["models.Field[Any, Any]"]:
        """The columns, in the order of the model."""
        left_out = COLUMNS_LEFT_OUT.get(self.model._meta.label, set())
        return [
            field
            for field in self.model._meta.concrete_fields
            if field.column and field.name not in left_out
        ]


def all_tables() -> Iterator[Table]:
    """Entries by kind, then what follows from them and what the frame keeps."""
    for kind in all_kinds():
        yield Table(f"entries/{kind.slug}", kind.model, str(kind.title), first_line(kind.model))
    for model in apps.get_models():
        meta = model._meta
        if meta.app_label not in OURS or issubclass(model, Entry) or meta.label in LEFT_OUT:
            continue
        name = f"tables/{meta.db_table}"
        yield Table(name, model, str(meta.verbose_name_plural), first_line(model))


def first_line(model: type[models.Model]) -> str:
    """The first line of a model's description."""
    return (model.__doc__ or "").strip().split("\n")[0]


def rows_of(table: Table) -> Iterator[list[Any]]:
    """The rows of a table, in the order of their keys, their values as JSON can hold them."""
    names = [field.attname for field in table.fields]
    rows = table.model._default_manager.order_by("pk").values_list(*names)
    for row in rows.iterator(CHUNK):
        yield [open_value(value) for value in row]


def open_value(value: Any) -> Any:
    """A value in its open form: moments in UTC (ISO 8601), decimals as digits, spans as ends."""
    if isinstance(value, Range):
        return {"from": plain(value.lower), "until": plain(value.upper)}
    return plain(value)


def cell(value: Any) -> str:
    """The same in a cell of a table file; no text can start a formula."""
    match value:
        case None:
            return ""
        case bool():
            return "true" if value else "false"
        case str():
            return guarded(value)
        case dict() | list():
            return guarded(str(value))
        case int() | Decimal():
            return str(value)
    return str(value)
