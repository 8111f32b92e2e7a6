"""The estate's figures in force on a day: usual losses, lead times."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from config.asking import ask
from config.days import local_day
from config.once_a_page import once_a_page
from milk.models import MilkFigure


@once_a_page
def all_figures() -> tuple[MilkFigure, ...]:
    """Every standing figure, the oldest first; a few dozen dated rows in one statement."""
    return tuple(MilkFigure.objects.standing().order_by("valid_from", "id"))


def figures_on(day: date) -> dict[str, MilkFigure]:
    """By what it is about, the figure that is in force on a day."""
    return {row.what: row for row in all_figures() if row.valid_from <= day}


def value_on(day: date, what: str) -> Decimal | None:
    """One figure's value on a day; None when nobody set it."""
    row = figures_on(day).get(what)
    return None if row is None else row.value


@dataclass(frozen=True)
class LongestDraws:
    """How long a draw may last of which nobody wrote the end: (valid from, minutes), by day."""

    rows: tuple[tuple[date, Decimal], ...]

    def at(self, moment: datetime) -> timedelta:
        """The longest such a draw lasts that began at a moment; nothing when nobody set it."""
        day = local_day(moment)
        value = next((value for since, value in reversed(self.rows) if since <= day), Decimal(0))
        return timedelta(minutes=float(value))

    @property
    def most(self) -> timedelta:
        """The longest that was ever set."""
        return timedelta(minutes=float(max((value for _, value in self.rows), default=0)))


LONGEST = """
    SELECT valid_from, value FROM milk_milkfigure
    WHERE what = %(what)s AND struck_at IS NULL ORDER BY valid_from, id
"""


@once_a_page
def longest_draws() -> LongestDraws:
    """The standing rows of the longest draw, asked for at every change of a tank."""
    return LongestDraws(tuple(ask(LONGEST, {"what": str(MilkFigure.What.LONGEST_DRAW)})))


class Dated:
    """The estate's figures of every day, read once; for pages that judge by many days."""

    def __init__(self) -> None:
        self.rows: dict[str, list[MilkFigure]] = {}
        for row in all_figures():
            self.rows.setdefault(row.what, []).append(row)

    def row(self, what: str, day: date) -> MilkFigure | None:
        """The figure in force on a day; None when nobody set it."""
        found = [row for row in self.rows.get(what, ()) if row.valid_from <= day]
        return found[-1] if found else None

    def value(self, what: str, day: date) -> Decimal | None:
        """One figure's value on a day; None when nobody set it."""
        row = self.row(what, day)
        return None if row is None else row.value
