"""What falls due by the limits: by when to put it right, when to sample again, samples missing.

Pure: no Django, no clock; the day is an argument.
"""

from calendar import monthrange
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from config.saying import _
from milk.limits import (
    LastRule,
    MeanRule,
    Outcome,
    Sample,
    Verdict,
    judge_last,
    judge_mean,
    months_before,
    spaced,
)

# A mean is near its limit when the next result may be less than so many times the last one (own
# warning of the estate, a trade habit; the law knows none).
NEAR = Decimal("1.3")


@dataclass(frozen=True, kw_only=True)
class Quota:
    """How many samples were taken in a span that needs so many; ``until``: its last day."""

    taken: int
    needed: int
    until: date
    span: str

    @property
    def missing(self) -> int:
        return max(self.needed - self.taken, 0)


def months_after(day: date, months: int) -> date:
    """The same day so many months later, or the last day of that month where it has none."""
    return months_before(day, -months)


def is_near(verdict: Verdict, last: Decimal) -> bool:
    """Whether one more result not much above the last takes the mean over its limit (A6)."""
    most = verdict.next_allowed
    return verdict.outcome is Outcome.WITHIN and most is not None and most < NEAR * last


def over_since(samples: Iterable[Sample], rule: MeanRule, day: date) -> date | None:
    """The day of the sample with which the mean went over and stayed; None when it is not over.

    ``samples``: as far back as it may have begun. A mean that was not valid in between did not
    mend anything: only a mean within does.
    """
    known = spaced(samples, rule.gap_days)
    if not judge_mean(known, rule, day).is_over:
        return None
    since = day
    for earlier in sorted({sample.taken_on for sample in known if sample.taken_on <= day})[::-1]:
        outcome = judge_mean(known, rule, earlier).outcome
        if outcome is Outcome.WITHIN:
            break
        if outcome is Outcome.OVER:
            since = earlier
    return since


def stopped_from(since: date, rule: MeanRule) -> date | None:
    """The day delivery is stopped when the mean is not within by then; None where none is said."""
    return None if rule.mend_months is None else months_after(since, rule.mend_months)


def noticed_on(samples: Sequence[Sample], rule: LastRule, day: date) -> date | None:
    """The day of the sample with which too many of the last results were over; None when not so."""
    if not judge_last(samples, rule, day).is_over:
        return None
    since = day
    for earlier in sorted({sample.taken_on for sample in samples if sample.taken_on <= day})[::-1]:
        if not judge_last(samples, rule, earlier).is_over:
            break
        since = earlier
    return since


def sample_again(noticed: date, rule: LastRule) -> tuple[date, date] | None:
    """The first and last day to take the sample again; None where the scheme says nothing.

    “Within 21 days of the notice but not before 3 days have passed”: notice 1 June, 4 to 22 June.
    """
    if rule.again_after is None or rule.again_within is None:
        return None
    return noticed + timedelta(days=rule.again_after), noticed + timedelta(days=rule.again_within)


def month_quota(samples: Iterable[Sample], rule: MeanRule, day: date) -> Quota:
    """The samples of the running month that the mean counts, and how many it needs."""
    of_month = [
        sample
        for sample in spaced(samples, rule.gap_days)
        if (sample.taken_on.year, sample.taken_on.month) == (day.year, day.month)
        and sample.taken_on <= day
    ]
    last = day.replace(day=monthrange(day.year, day.month)[1])
    return Quota(taken=len(of_month), needed=rule.samples_a_month, until=last, span=_("this month"))


def span_quota(samples: Iterable[Sample], needed: int, months: int, day: date) -> Quota:
    """The samples of the months up to ``day``, on separate days, and the day the first runs out."""
    start = months_before(day, months)
    days = sorted({sample.taken_on for sample in samples if start < sample.taken_on <= day})
    leaves = months_after(days[-needed], months) if len(days) >= needed else day
    return Quota(
        taken=len(days),
        needed=needed,
        until=leaves - timedelta(days=1) if leaves > day else day,
        span=_("in {months} months").format(months=months),
    )
