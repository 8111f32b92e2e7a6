"""Results held against the limits of the estate's schemes: read from the book, judged in limits.py.

The schemes that count are those of ``settings.ESTATE_SCHEMES``; other rows are kept, and say
nothing.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple
from uuid import UUID

from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import day_in_figures, local_day, start_of
from milk import due, limits
from milk.due import Quota
from milk.limits import Bound, LastRule, MeanRule, Sample, Verdict
from milk.models import Delivery, Limit, LotTest, MilkLot
from milk.models.limits import What, said_with_unit
from milk.results import standard

OUR_OWN = N_("our own milk")
# Results out of the last ones may lie far apart; older than this they are not "the last" any more.
OF_SERIES = (Limit.Of.MEAN, Limit.Of.LAST, Limit.Of.OFTEN)
LAST_RESULTS_WITHIN = timedelta(days=365)
# A mean over its limit for longer is over all the same; since when is told no further back.
OVER_LOOKED_BACK = 12
MEND_BY = N_("over since {since}; delivery is stopped from {day} unless it is within by then")
TAKE_AGAIN = N_("take a sample again {first} to {last}, counted from {noticed}; the notice decides")


@dataclass(frozen=True, kw_only=True)
class Standing:
    """How the milk of one producer stands against one limit for means or last results.

    ``last``: the newest sample; ``follows``: what must be done by when, in a sentence, "" for
    nothing.
    """

    limit: Limit
    producer: str
    cause: str
    verdict: Verdict
    last: Sample | None = None
    follows: str = ""

    @property
    def is_near(self) -> bool:
        """Whether the next result, if not much above the last, takes the mean over its limit."""
        counts = self.limit.of == Limit.Of.MEAN and self.last is not None
        return counts and self.last is not None and due.is_near(self.verdict, self.last.value)

    @property
    def what(self) -> str:
        """What is measured, without its unit."""
        return What(self.limit.what).label.partition(",")[0]

    @property
    def rule(self) -> str:
        """What is counted, in words."""
        if self.limit.of == Limit.Of.MEAN:
            return _("mean of {months} months").format(months=self.limit.months)
        return _("{times} of the last {of_last}").format(
            times=self.limit.times, of_last=self.limit.of_last
        )


class Limits:
    """The limits that count for the estate, read once."""

    def __init__(self, schemes: Sequence[str] | None = None) -> None:
        schemes = settings.ESTATE_SCHEMES if schemes is None else schemes
        rows = Limit.objects.standing().filter(scheme__in=schemes).order_by("valid_from", "id")
        self.rows: list[Limit] = list(rows)
        # Asked for each of thousands of results, of a few days.
        self._on: dict[tuple[date, str], list[Limit]] = {}
        self._bounds: dict[tuple[date, str], list[Bound]] = {}

    def on(self, day: date, of: str) -> list[Limit]:
        """One row for each thing measured and scheme: the one valid on ``day``."""
        found = self._on.get((day, of))
        if found is None:
            latest: dict[tuple[Any, ...], Limit] = {}
            for row in self.rows:
                if row.of == of and row.valid_from <= day:
                    latest[row.what, row.scheme, row.of_last] = row
            found = self._on[day, of] = list(latest.values())
        return found

    def keeps(self, what: str, sample: Sample) -> bool:
        """Whether a result keeps every limit for single results of its day."""
        bounds = self._bounds.get((sample.taken_on, what))
        if bounds is None:
            rows = self.on(sample.taken_on, Limit.Of.SINGLE)
            bounds = [bound_of(row) for row in rows if row.what == what]
            self._bounds[sample.taken_on, what] = bounds
        return all(bound.passes(sample.value) for bound in bounds)

    def over(self, test: LotTest) -> list[tuple[Limit, str]]:
        """The limits for single results that a result does not keep, with the sentence."""
        if test.value is None or test.is_struck:
            return []
        sample = sample_of(test)
        found = []
        for limit in self.on(sample.taken_on, Limit.Of.SINGLE):
            if limit.what == test.what:
                verdict = limits.judge_single(sample, bound_of(limit))
                if verdict.is_over:
                    what = What(test.what).label.partition(",")[0]
                    found.append((limit, f"{what} {verdict.words}"))
        return found


def sample_of(test: LotTest) -> Sample:
    """A result as the rules want it."""
    value = test.standard
    assert value is not None
    return Sample(
        taken_on=local_day(test.happened_at),
        value=value,
        name=_("lot {lot}").format(lot=test.lot),
        written=test.said,
    )


def bound_of(limit: Limit) -> Bound:
    return Bound(
        at_most=limit.at_most, at_least=limit.at_least, unit=limit.unit, scheme=limit.scheme
    )


def mean_rule_of(limit: Limit) -> MeanRule:
    assert limit.at_most is not None
    assert limit.months
    assert limit.samples_a_month
    return MeanRule(
        at_most=limit.at_most,
        unit=limit.unit,
        scheme=limit.scheme,
        months=limit.months,
        samples_a_month=limit.samples_a_month,
        gap_days=limit.gap_days,
        mend_months=limit.mend_months,
    )


def last_rule_of(limit: Limit) -> LastRule:
    return LastRule(
        bound=bound_of(limit),
        times=limit.times,
        of_last=limit.of_last,
        again_after=limit.resample_after_days,
        again_within=limit.resample_within_days,
    )


Series = dict[str, dict[str, list[Sample]]]


def series_for(at: datetime, in_force: Limits) -> Series:
    """The results that the limits for means, last results and numbers of samples look at."""
    day = local_day(at)
    rows = [row for of in OF_SERIES for row in in_force.on(day, of)]
    if not rows:
        return {}
    return read_series({row.what for row in rows}, first_day(rows, day), at)


def standings(
    at: datetime, in_force: Limits | None = None, series: Series | None = None
) -> list[Standing]:
    """How our own milk, and that of every supplier with results, stands on the day of ``at``.

    One statement for the limits and one for the results, unless they are given.
    """
    in_force = in_force or Limits()
    series = series_for(at, in_force) if series is None else series
    day = local_day(at)
    rows = [*in_force.on(day, Limit.Of.MEAN), *in_force.on(day, Limit.Of.LAST)]
    found = []
    for limit in sorted(rows, key=lambda row: (row.what, row.of, row.scheme, row.of_last)):
        producers = series.get(limit.what, {})
        # Our own milk is judged even without a result: that months are missing is news as well.
        for producer in sorted({"", *producers}):
            found.append(standing_of(limit, producer, producers.get(producer, []), day))
    return found


@dataclass(frozen=True, kw_only=True)
class Sampling:
    """How many samples of our own milk a scheme asks for in a span, and how many were taken."""

    limit: Limit
    cause: str
    quota: Quota

    @property
    def words(self) -> str:
        """In one sentence what is missing, or that nothing is."""
        what = What(self.limit.what).label.partition(",")[0]
        said = _("{what}: {taken} of {needed} samples {span}").format(
            what=what, taken=self.quota.taken, needed=self.quota.needed, span=self.quota.span
        )
        if self.quota.missing:
            said += _(", {missing} more by {until}").format(
                missing=self.quota.missing, until=day_in_figures(self.quota.until)
            )
        elif self.limit.of == Limit.Of.OFTEN:
            said += _(", the next by {until}").format(until=day_in_figures(self.quota.until))
        return f"{said} ({self.limit.scheme})"


def samplings(at: datetime, in_force: Limits, series: Series) -> list[Sampling]:
    """The samples that the schemes ask for, of our own milk."""
    day = local_day(at)
    found = []
    for limit in in_force.on(day, Limit.Of.MEAN):
        own = series.get(limit.what, {}).get("", [])
        quota = due.month_quota(own, mean_rule_of(limit), day)
        cause = f"quota:{limit.what}:{limit.scheme}:{day:%Y-%m}"
        found.append(Sampling(limit=limit, cause=cause, quota=quota))
    for limit in in_force.on(day, Limit.Of.OFTEN):
        assert limit.at_least is not None
        assert limit.months
        own = series.get(limit.what, {}).get("", [])
        quota = due.span_quota(own, int(limit.at_least), limit.months, day)
        cause = f"quota:{limit.what}:{limit.scheme}:{limit.months} months"
        found.append(Sampling(limit=limit, cause=cause, quota=quota))
    return found


def standing_of(limit: Limit, producer: str, series: Sequence[Sample], day: date) -> Standing:
    """One limit against the results of one producer ("" = our own)."""
    if limit.of == Limit.Of.MEAN:
        verdict = limits.judge_mean(series, mean_rule_of(limit), day)
        cause = f"mean:{limit.what}:{limit.scheme}"
    else:
        verdict = limits.judge_last(series, last_rule_of(limit), day)
        cause = f"last:{limit.what}:{limit.scheme}:{limit.times} of {limit.of_last}"
    return Standing(
        limit=limit,
        producer=producer or OUR_OWN,
        cause=f"{cause}:{producer}" if producer else cause,
        verdict=verdict,
        last=max(series, key=lambda sample: sample.taken_on, default=None),
        follows=follows(limit, series, day) if verdict.is_over else "",
    )


def follows(limit: Limit, series: Sequence[Sample], day: date) -> str:
    """What a limit that is over asks for, and by when; "" when its scheme says nothing."""
    if limit.of == Limit.Of.MEAN:
        mean_rule = mean_rule_of(limit)
        since = due.over_since(series, mean_rule, day)
        stop = due.stopped_from(since, mean_rule) if since else None
        return _(MEND_BY).format(since=since, day=stop) if stop else ""
    last_rule = last_rule_of(limit)
    noticed = due.noticed_on(series, last_rule, day)
    span = due.sample_again(noticed, last_rule) if noticed else None
    return _(TAKE_AGAIN).format(first=span[0], last=span[1], noticed=noticed) if span else ""


def first_day(rows: Iterable[Limit], day: date) -> date:
    """From which day on results are needed to judge these limits on ``day``."""
    return min(
        limits.first_day_needed(day, (row.months or 1) + looked_back(row))
        if row.of != Limit.Of.LAST
        else day - LAST_RESULTS_WITHIN
        for row in rows
    )


def looked_back(row: Limit) -> int:
    """How many months further back a mean is judged, to know since when it is over."""
    return OVER_LOOKED_BACK if row.mend_months or row.gap_days else 0


def read_series(whats: Iterable[str], since: date, at: datetime) -> Series:
    """Results by what was measured and by producer: "" for our own milk, else the supplier."""
    rows = list(
        results_since(whats, since, at).values_list(
            "what", "happened_at", "value", "written", "unit", "lot_id"
        )
    )
    lots = lots_of([row[-1] for row in rows])
    series: Series = defaultdict(lambda: defaultdict(list))
    for what, happened_at, value, written, unit, lot in rows:
        sample = Sample(
            taken_on=local_day(happened_at),
            value=standard(what, Decimal(value), unit),
            name=_("lot {code}").format(code=lots[lot].code),
            written=said_with_unit(what, written, value, unit),
        )
        series[what][lots[lot].producer].append(sample)
    return series


def results_since(whats: Iterable[str], since: date, at: datetime) -> Any:
    """The standing results in numbers sampled from a day on up to ``at``, oldest first."""
    return (
        LotTest.objects.standing()
        .filter(
            what__in=sorted(whats),
            happened_at__gte=start_of(since),
            happened_at__lte=at,
            value__isnull=False,
        )
        .order_by("happened_at", "id")
    )


class LotName(NamedTuple):
    """What a lot is called, and whose milk it is ("" = our own)."""

    code: str
    uuid: UUID
    producer: str


def lots_of(numbers: Collection[int]) -> dict[int, LotName]:
    """The names of lots, by number.

    Read as one span of numbers, which grow with time: joined to thousands of results the database
    would read every lot there ever was.
    """
    if not numbers:
        return {}
    wanted = MilkLot.objects.filter(pk__gte=min(numbers), pk__lte=max(numbers))
    rows = wanted.values_list("pk", "code", "uuid", "delivery_id")
    read = list(rows)
    arrived = {row[3] for row in read} - {None}
    names: dict[int, str] = {}
    if arrived:
        deliveries = Delivery.objects.filter(pk__in=arrived)
        names = dict(deliveries.values_list("pk", "holding__name"))
    return {pk: LotName(code, uuid, names.get(delivery, "")) for pk, code, uuid, delivery in read}
