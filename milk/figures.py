"""The estate's figures in force on a day: usual losses, lead times."""

from datetime import date
from decimal import Decimal

from milk.models import MilkFigure


def figures_on(day: date) -> dict[str, MilkFigure]:
    """By what it is about, the figure that is in force on a day; one statement."""
    rows = MilkFigure.objects.standing().filter(valid_from__lte=day).order_by("valid_from", "id")
    return {row.what: row for row in rows}


def value_on(day: date, what: str) -> Decimal | None:
    """One figure's value on a day; None when nobody set it."""
    row = figures_on(day).get(what)
    return None if row is None else row.value
