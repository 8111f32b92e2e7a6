"""The dated rules that the medicine book and the cupboard are judged by."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal

from config.days import estate_zone
from herd.period_rules import standing_rules
from herd.rules_in_force import PRESCRIPTION_DAYS
from herd.withdrawal import Estate, Rule

KEEP_BOOK = "keep: medicine book"  # years, from the last administration on
TUBES_A_COW = "drying off: tubes for a cow"  # tube
EXPIRES_SOON = "shelf: expires soon within"  # d
KNOWN_RULES = (KEEP_BOOK, TUBES_A_COW, EXPIRES_SOON)


@dataclass(frozen=True)
class MedicineRules:
    """The values of these rules over time; of several schemes the longest or largest counts."""

    rows: tuple[Rule, ...]
    # A book asks for the same days again and again.
    asked: dict[tuple[str, date], Decimal | None] = field(
        default_factory=dict, compare=False, repr=False
    )

    def value(self, name: str, day: date) -> Decimal | None:
        """A rule's value on a day; None when there is none."""
        if (name, day) not in self.asked:
            noon = datetime(day.year, day.month, day.day, 12, tzinfo=estate_zone())
            self.asked[name, day] = Estate(estate_zone(), self.rows).rule(name, noon)
        return self.asked[name, day]

    def keep_until(self, last: date) -> date | None:
        """The day until which an entry must be kept; None when no rule says so."""
        years = self.value(KEEP_BOOK, last)
        return None if years is None else years_after(last, int(years))

    def tubes(self, day: date, written: int | None = None) -> Decimal:
        """How many tubes a cow took at drying off: as written, else by rule; 0 without either."""
        return Decimal(written) if written else self.value(TUBES_A_COW, day) or Decimal(0)


def years_after(day: date, years: int) -> date:
    """The same day years later; 29 February becomes 1 March, which keeps a day longer."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)


def medicine_rules(names: Iterable[str] = (*KNOWN_RULES, PRESCRIPTION_DAYS)) -> MedicineRules:
    """The standing rows of these rules, in one statement."""
    wanted = set(names)
    return MedicineRules(
        tuple(
            Rule(row.name, row.value, row.valid_from, row.scheme)
            for row in standing_rules()
            if row.name in wanted
        )
    )
