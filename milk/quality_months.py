"""The months of the quality page: a row each, long times without results told once."""

from bisect import bisect_left, bisect_right
from calendar import monthrange
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.saying import MONTHS
from milk import limits
from milk.judging import (
    Limits,
    mean_rule_of,
)
from milk.limits import Sample, Verdict
from milk.models import Limit

LEAST_GAP = 3


GAP = N_("not valid: no result in these {months} months")


@dataclass(frozen=True, kw_only=True)
class Single:
    """One result: the sample for the rules, its lot, and whether it is over a limit of its day."""

    sample: Sample
    lot: str
    uuid: UUID
    over: bool

    @property
    def url(self) -> str:
        """The page of its lot, as the lot itself says it."""
        return f"/milk/lots/{self.uuid}/"


@dataclass(frozen=True, kw_only=True)
class MonthRow:
    """One month: its results, and the rolling mean on its last day (or today)."""

    month: str
    day: date
    number: int
    lowest: Decimal | None
    highest: Decimal | None
    over: int
    verdict: Verdict | None
    gap: str = ""

    @property
    def mean(self) -> Decimal | None:
        """The mean, also where it is not valid; None without one."""
        return self.verdict.mean if self.verdict else None

    @property
    def is_empty(self) -> bool:
        """Whether there is no result, and no mean of the months before either."""
        return not self.number and self.mean is None

    @property
    def missing(self) -> str:
        """Which samples are missing, in words; "" when the mean is valid."""
        if self.gap:
            return self.gap
        if self.verdict is None or not self.verdict.short:
            return ""
        return self.verdict.words


def month_ends(first: date, last: date) -> list[date]:
    """The last day of each month from ``first`` on; of the last one the day itself."""
    ends = []
    year, month = first.year, first.month
    while (year, month) <= (last.year, last.month):
        ends.append(min(date(year, month, monthrange(year, month)[1]), last))
        year, month = (year, month + 1) if month < 12 else (year + 1, 1)
    return ends


def month_row(
    what: str, singles: list[Single], days: list[date], end: date, in_force: Limits
) -> MonthRow:
    """One month of the table."""
    own = singles[bisect_left(days, end.replace(day=1)) : bisect_right(days, end)]
    values = [single.sample.value for single in own]
    limit = next((row for row in in_force.on(end, Limit.Of.MEAN) if row.what == what), None)
    verdict = None
    if limit is not None:
        rule = mean_rule_of(limit)
        # With a least gap between samples, which of them count follows from the first one on.
        start = 0 if rule.gap_days else bisect_left(days, limits.first_day_needed(end, rule.months))
        known = [single.sample for single in singles[start : bisect_right(days, end)]]
        verdict = limits.judge_mean(known, rule, end)
    return MonthRow(
        month=f"{_(MONTHS[end.month - 1])} {end.year}",
        day=end,
        number=len(own),
        lowest=min(values, default=None),
        highest=max(values, default=None),
        over=sum(single.over for single in own),
        verdict=verdict,
    )


def gap_of(rows: Sequence[MonthRow]) -> MonthRow:
    """Months without any result, newest first, as one row."""
    newest, oldest = rows[0], rows[-1]
    return MonthRow(
        month=_("{first} to {last}").format(first=oldest.month, last=newest.month),
        day=newest.day,
        number=0,
        lowest=None,
        highest=None,
        over=0,
        verdict=None,
        gap=_(GAP).format(months=len(rows)),
    )
