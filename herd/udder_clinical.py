"""Clinical mastitis by quarter of the year: cases, cow-years, and where they come from."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from decimal import Decimal

from django.utils.translation import gettext as _

from config.days import estate_zone, local_day
from herd.models import PeriodRule
from herd.udder import (
    RULE_NAMES,
    Case,
    Rules,
    Sign,
    cases,
    clinical_rate,
    in_twelve,
)
from herd.udder_reads import calved_between, cow_days, signs_of
from herd.udder_rules import SCHEME

# This quarter so far, and four whole ones: the last of them is the same quarter a year ago.
QUARTERS = 5
DAYS_IN_YEAR = Decimal("365")


@dataclass(frozen=True, kw_only=True)
class Quarter:
    """Clinical cases of a quarter of the year, or of what has passed of it."""

    year: int
    number: int
    cases: int
    cow_days: Decimal
    running: bool = False

    @property
    def name(self) -> str:
        return _("{year}, quarter {number}").format(year=self.year, number=self.number)

    @property
    def rate(self) -> Decimal | None:
        """Cases per 100 cow-years."""
        return clinical_rate(self.cases, self.cow_days)


@dataclass(frozen=True, kw_only=True)
class Clinical:
    """The quarters, oldest first, and the last twelve months by origin.

    ``dry_origin``: cases within the days of the rule, in 12 calvings. ``milk_origin``: later ones,
    in 12 cow-years. ``unknown_origin``: cases of cows without a calving in the book.
    ``other_habit``: days of another habit of counting and this quarter's cases by it.
    """

    quarters: Sequence[Quarter]
    dry_origin: Decimal | None
    milk_origin: Decimal | None
    unknown_origin: int
    other_habit: tuple[Decimal, int] | None

    @property
    def now(self) -> Quarter:
        return self.quarters[-1]

    @property
    def year_ago(self) -> Quarter:
        """The same quarter of last year."""
        return self.quarters[0]

    def act(self, rules: Rules) -> bool:
        """Above the rule, or above the same quarter last year."""
        rate, last = self.now.rate, self.year_ago.rate
        if rate is None:
            return False
        worse = last is not None and self.year_ago.cases > 0 and rate > last
        return rate > rules.clinical_act or worse


def quarter_of(day: date) -> tuple[int, int]:
    """Year and quarter of a day."""
    return day.year, (day.month - 1) // 3 + 1


def quarters_until(day: date, number: int = QUARTERS) -> list[tuple[int, int]]:
    """The last quarters, the one of ``day`` included, oldest first."""
    year, quarter = quarter_of(day)
    index = year * 4 + quarter - 1
    return [(back // 4, back % 4 + 1) for back in range(index - number + 1, index + 1)]


def starts_at(year: int, quarter: int) -> datetime:
    """The moment a quarter begins on the estate's clock, in UTC."""
    first = datetime.combine(date(year, 3 * quarter - 2, 1), time(), estate_zone())
    return first.astimezone(UTC)


def clinical(at: datetime, rules: Rules) -> Clinical:
    """The clinical cases of the last quarters, in four statements."""
    named = quarters_until(local_day(at))
    begins = [starts_at(*quarter) for quarter in named]
    spans = list(zip(begins, [*begins[1:], at], strict=True))
    signs = signs_of(begins[0], at)
    found = cases(signs, rules.recurs_after)
    days = cow_days(spans)
    counted = [began_in(found, span) for span in spans]
    quarters = [
        Quarter(
            year=year,
            number=number,
            cases=len(counted[place]),
            cow_days=days[place],
            running=place == len(named) - 1,
        )
        for place, (year, number) in enumerate(named)
    ]
    # Twelve months: the running quarter and the three whole ones before it.
    of_dry = [case.is_of_dry_period(rules.dry_origin_days) for one in counted[1:] for case in one]
    return Clinical(
        quarters=quarters,
        dry_origin=in_twelve(of_dry.count(True), calved_between(begins[1], at)),
        milk_origin=in_twelve(of_dry.count(False), sum(days[1:], Decimal(0)) / DAYS_IN_YEAR),
        unknown_origin=of_dry.count(None),
        other_habit=other_habit(signs, spans[-1], rules),
    )


def began_in(found: Sequence[Case], span: tuple[datetime, datetime]) -> list[Case]:
    """The cases that began on the days of a span."""
    first, last = local_day(span[0]), local_day(span[1])
    end_counts = span[1] != datetime.combine(last, time(), estate_zone())
    return [
        case
        for case in found
        if first <= case.began and (case.began < last or (end_counts and case.began == last))
    ]


def other_habit(
    signs: Sequence[Sign], span: tuple[datetime, datetime], rules: Rules
) -> tuple[Decimal, int] | None:
    """Days of the habit that stands beside the estate's own, and this quarter's cases by it."""
    rows = PeriodRule.objects.standing().filter(
        name=RULE_NAMES["recurs_after"], valid_from__lte=local_day(span[1])
    )
    other = rows.exclude(scheme=SCHEME).order_by("-valid_from").values_list("value", flat=True)
    days = next((value for value in other if value != rules.recurs_after), None)
    if days is None:
        return None
    return days, len(began_in(cases(signs, days), span))
