"""How old a wheel is, and from which day it may leave. Pure; days are days of the estate's clock.

Full months go by the same day of the month; where a month lacks that day, the first of the next
one counts, so that nothing leaves a day too early (made on 29 February 2028, twelve months on
1 March 2029). A rule in days wants that many whole days: made on day 0, it is met on day 60.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from config.saying import N_, _, day_said

Unit = Literal["days", "months"]
YOUNG = N_("{have}; {source} wants {least} {unit} for {of}, which is on {day}")


@dataclass(frozen=True)
class AgeBound:
    """At least so many days or months for some wheels (``of``, in words), and where that stands."""

    of: str
    at_least: int
    unit: Unit
    source: str


def months_later(day: date, months: int) -> date:
    """The day a number of full months after another; the first of the next month if it lacks it."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    try:
        return date(year, month + 1, day.day)
    except ValueError:
        return first_of_next(year, month + 1)


def first_of_next(year: int, month: int) -> date:
    """The first day of the month after another."""
    return date(year + month // 12, month % 12 + 1, 1)


def full_months(made: date, on: date) -> int:
    """The age in full months on a day; 0 before it was made."""
    if on < made:
        return 0
    months = (on.year - made.year) * 12 + on.month - made.month
    return months if months_later(made, months) <= on else months - 1


def old_enough_on(made: date, at_least: int, unit: Unit) -> date:
    """The first day on which a wheel is so many days or full months old."""
    return months_later(made, at_least) if unit == "months" else made + timedelta(days=at_least)


def too_young(made: date, on: date, bounds: Iterable[AgeBound]) -> list[str]:
    """In words, every rule that the wheel is too young for on a day; on the very day it is not."""
    said = []
    for bound in bounds:
        day = old_enough_on(made, bound.at_least, bound.unit)
        if on < day:
            said.append(
                _(YOUNG).format(
                    have=age_said(made, on),
                    source=bound.source,
                    least=bound.at_least,
                    unit=bound.unit,
                    of=bound.of,
                    day=day_said(day),
                )
            )
    return said


def age_said(made: date, on: date) -> str:
    """The age in words: days in the first two months, then full months."""
    months = full_months(made, on)
    if months < 2:
        days = max((on - made).days, 0)
        return (_("{days} day old") if days == 1 else _("{days} days old")).format(days=days)
    return _("{months} months old").format(months=months)
