"""What a person reads of an entry: label and value of each field, in words and with links."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any

from django.core.exceptions import FieldDoesNotExist
from django.db import models
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import day_words
from config.entries import Entry
from config.forms.entries import said_name, sentence
from config.kinds import Kind, all_kinds
from config.templatetags.sheet import amount, moment

NOT_GIVEN = N_("not given")


@dataclass(frozen=True)
class Cell:
    """One value for reading; ``url`` leads to the entry it names."""

    label: str
    value: str
    url: str = ""
    number: bool = False
    given: bool = True


def cells(kind: Kind, entry: Entry, names: Iterable[str]) -> list[Cell]:
    """The values of an entry under these names."""
    return [cell(kind, entry, name) for name in names if name not in kind.extra]


def cell(kind: Kind, entry: Entry, name: str) -> Cell:
    """One value of an entry."""
    value, label = getattr(entry, name), label_of(kind, name)
    if value is None or value == "":
        return Cell(label, _(NOT_GIVEN), given=False)
    if isinstance(value, models.Model) and hasattr(value, "uuid"):
        return Cell(label, str(value), address_of(value))
    shown = getattr(entry, f"get_{name}_display", None)
    number = isinstance(value, Decimal | int | float) and not isinstance(value, bool) and not shown
    return Cell(label, str(shown()) if shown else words_of(value), number=number)


def label_of(kind: Kind, name: str) -> str:
    """What a field is called on pages."""
    try:
        return sentence(said_name(getattr(kind.model._meta.get_field(name), "verbose_name", name)))
    except FieldDoesNotExist:
        return sentence(said_name(name.replace("_", " ")))


def words_of(value: Any) -> str:
    """A plain value for reading."""
    match value:
        case bool():
            return _("yes") if value else _("no")
        case Decimal() | int() | float():
            return amount(value)
        case datetime():
            return moment(value)
        case date():
            return day_words(value)
        case time():
            return f"{value:%H:%M}"
        case models.Manager():
            return ", ".join(str(item) for item in value.all())
        case list() | tuple() | set():
            return ", ".join(str(item) for item in value)
    return str(value)


def address_of(entry: Any) -> str:
    """The page of an entry: its own when the model has one, else the plain one of its kind."""
    if hasattr(entry, "get_absolute_url"):
        return str(entry.get_absolute_url())
    return plain_address_of(entry)


def plain_address_of(entry: Entry) -> str:
    """The page with all times of an entry; "" for a model without a kind."""
    for kind in all_kinds():
        if kind.model is type(entry):
            return reverse("kind-detail", args=[kind.slug, entry.uuid])
    return ""
