"""The estate's figures: written with their unit and within their range, read as of a day."""

from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from config.once_a_page import once_a_page
from config.templatetags.sheet import amount
from feed.figures import FIGURES
from feed.models import FeedFigure

UNKNOWN = N_("No figure is called “{name}”. Expected one of {known}.")
OUT_OF_RANGE = N_("{value} {unit} is out of range. Expected {least} to {most} {unit}.")


def record_figure(*, stamp: Stamp, name: str, value: Decimal, **fields: Any) -> FeedFigure:
    """Write a figure from a day on. Raises ValidationError by field."""
    known = FIGURES.get(name)
    if known is None:
        words = _(UNKNOWN).format(name=name, known=", ".join(FIGURES))
        raise ValidationError({"name": words})
    if not known.least <= value <= known.most:
        words = _(OUT_OF_RANGE).format(
            value=amount(value),
            unit=known.unit,
            least=amount(known.least),
            most=amount(known.most),
        )
        raise ValidationError({"value": words})
    return entries.record(
        FeedFigure, stamp=stamp, name=name, value=value, unit=known.unit, **fields
    )


def figures_on(day: date, *names: str) -> dict[str, FeedFigure]:
    """The figures in force on a day, by name; one nobody has set is missing. One statement.

    All of them when no name is given.
    """
    found = all_figures_on(day)
    return {name: found[name] for name in names or found if name in found}


@once_a_page
def all_figures_on(day: date) -> dict[str, FeedFigure]:
    """Every figure in force on a day: a dozen rows, asked for by many lines of a page."""
    rows = FeedFigure.objects.standing().filter(valid_from__lte=day)
    newest = rows.order_by("name", "-valid_from").distinct("name")
    return {row.name: row for row in newest}


def values_on(day: date, *names: str) -> dict[str, Decimal]:
    """The values in force on a day by name, the usual ones where nobody has set one.

    What nobody has set and has no usual value is missing. One statement. Raises KeyError for a name
    that is no figure.
    """
    usual = {name: FIGURES[name].usual for name in names}
    found = {name: value for name, value in usual.items() if value is not None}
    return found | {name: row.value for name, row in figures_on(day, *names).items()}


def value_on(day: date, name: str) -> Decimal | None:
    """One value as ``values_on`` has it; None when there is none. Raises KeyError for no figure."""
    return values_on(day, name).get(name)
