"""Limits of milk: rolling geometric means, single results and results out of the last ones.

Pure: no Django, no clock; the day is an argument. Counts are compared exactly, as whole numbers and
fractions: a mean of exactly the limit is within it, however a computer would round it (Regulation
(EC) 853/2004, Annex III, Section IX, Chapter I, Part III, 3: "rolling geometric average").
"""

from calendar import monthrange
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Context, Decimal, localcontext
from enum import StrEnum
from itertools import groupby
from math import prod

from config.saying import MONTHS, N_, _, day_said, figures

# Digits that means and next results are computed to; what is compared is exact anyway.
EXACT = Context(prec=60)
# A next result so many times the limit is none that happens; saying it would only confuse.
WORTH_SAYING = 100
SHOWN_PLACES = Decimal("0.000001")
# So many samples are named in a sentence, the worst of them; the rest are counted.
MOST_NAMED = 5

NOT_POSITIVE = N_(
    "A geometric mean needs results above 0. A result below what the method can count is used at "
    "its bound: “<10” counts as 10."
)


class Outcome(StrEnum):
    """What a limit says to results. Without enough of them it says nothing."""

    WITHIN = "within"
    OVER = "over"
    NOT_VALID = N_("not valid")


@dataclass(frozen=True, kw_only=True)
class Sample:
    """One result: the day of the sample, the number used, and what people call it."""

    taken_on: date
    value: Decimal
    name: str = ""
    written: str = ""

    @property
    def said(self) -> str:
        """The result as people read it: as written on the paper, else the number."""
        return self.written or plain(self.value)


@dataclass(frozen=True, kw_only=True)
class Bound:
    """What a single result may be at most or at least, with its unit and where that stands."""

    unit: str
    scheme: str
    at_most: Decimal | None = None
    at_least: Decimal | None = None

    def passes(self, value: Decimal) -> bool:
        """Whether a result keeps the bound. Equality passes."""
        above = self.at_most is not None and value > self.at_most
        below = self.at_least is not None and value < self.at_least
        return not above and not below


@dataclass(frozen=True, kw_only=True)
class MeanRule:
    """What a rolling geometric mean may be: over how many months, of how many samples in each.

    ``gap_days``: samples closer together than this count once (0: all count); ``mend_months``: so
    long after it first failed delivery is stopped; None where the scheme says nothing.
    """

    at_most: Decimal
    unit: str
    scheme: str
    months: int
    samples_a_month: int
    gap_days: int = 0
    mend_months: int | None = None


@dataclass(frozen=True, kw_only=True)
class LastRule:
    """So many results over a bound, out of the last ones, are one too many ("2 of the last 4").

    ``again_after``, ``again_within``: days after the notice between which a sample is taken again.
    """

    bound: Bound
    times: int
    of_last: int
    again_after: int | None = None
    again_within: int | None = None


@dataclass(frozen=True, kw_only=True)
class Month:
    """A calendar month with fewer samples than it needs."""

    year: int
    month: int
    found: int

    def words(self, needed: int) -> str:
        name = _(MONTHS[self.month - 1])
        if not self.found:
            return _("{name} missing").format(name=name)
        words = _("only {found} of {needed} samples in {name}")
        return words.format(found=self.found, needed=needed, name=name)


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """What a limit says on a day, in one sentence, and by which samples.

    ``mean``: geometric mean of the window, also where it is not valid; None without samples.
    ``blamed``: the samples that did it. ``next_allowed``: the most the next result may be, to the
    whole unit; None where nothing is computed, or where no single result would matter. Of a rule
    about the last results it is the bound, when one more over it is one too many.
    """

    outcome: Outcome
    words: str
    mean: Decimal | None = None
    samples: tuple[Sample, ...] = ()
    blamed: tuple[Sample, ...] = ()
    short: tuple[Month, ...] = ()
    next_allowed: Decimal | None = None

    @property
    def is_over(self) -> bool:
        return self.outcome is Outcome.OVER


def plain(value: Decimal, places: int | None = None) -> str:
    """A number as people write it: thousands apart, no trailing zeros unless asked for."""
    if places is not None:
        return figures(f"{value.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP):,f}")
    text = f"{value:,f}"
    return figures(text.rstrip("0").rstrip(".") if "." in text else text)


def mean_said(mean: Decimal, limit: Decimal) -> str:
    """A mean to as many places as it takes to see on which side of the limit it lies."""
    whole = 0 if limit >= 10 else 3
    for places in range(whole, 7):
        if mean == limit or mean.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP) != limit:
            return plain(mean, places)
    return plain(mean)


def months_before(day: date, months: int) -> date:
    """The same day so many months earlier, or the last day of that month where it has none."""
    index = day.year * 12 + day.month - 1 - months
    year, month = divmod(index, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def in_window(samples: Iterable[Sample], day: date, months: int) -> tuple[Sample, ...]:
    """The samples of the days in (day - months, day], oldest first."""
    start = months_before(day, months)
    found = [sample for sample in samples if start < sample.taken_on <= day]
    return tuple(sorted(found, key=lambda sample: (sample.taken_on, sample.name)))


def first_day_needed(day: date, months: int) -> date:
    """From which day on samples must be known to judge a window of ``months`` that ends on ``day``.

    Earlier than the window: whether a month has its samples is counted over the whole month, and
    the month before the window may have to stand in for the one that is running.
    """
    return months_before(day.replace(day=1), months)


def ratio(values: Sequence[Decimal]) -> tuple[int, int]:
    """The product of results as a fraction of whole numbers. Raises ValueError for one below 0."""
    if any(value <= 0 for value in values):
        raise ValueError(_(NOT_POSITIVE))
    pairs = [value.as_integer_ratio() for value in values]
    return prod(over for over, _ in pairs), prod(under for _, under in pairs)


def geometric_mean(values: Sequence[Decimal]) -> Decimal:
    """The geometric mean, to six places. Raises ValueError for none, or one not above 0."""
    if not values:
        raise ValueError(_(NOT_POSITIVE))
    over, under = ratio(values)
    with localcontext(EXACT):
        log = (Decimal(over).ln() - Decimal(under).ln()) / len(values)
        return log.exp().quantize(SHOWN_PLACES, ROUND_HALF_UP)


def mean_within(values: Sequence[Decimal], limit: Decimal) -> bool:
    """Whether the geometric mean is at most ``limit``, compared exactly: product against power."""
    over, under = ratio(values)
    most, parts = limit.as_integer_ratio()
    # Whole numbers to a power that is not below 0 are whole; type checkers cannot know.
    return bool(over * parts ** len(values) <= under * most ** len(values))


def next_allowed(values: Sequence[Decimal], limit: Decimal) -> Decimal:
    """The most one further result may be with the mean still within, down to the whole unit.

    T13: after 310, 350, 420, 390 and 460 the next may be 501 when 400 is the limit.
    """
    over, under = ratio(values)
    most, parts = limit.as_integer_ratio()
    number = len(values) + 1
    return Decimal(most**number * under // (parts**number * over))


def spaced(samples: Iterable[Sample], gap_days: int) -> list[Sample]:
    """The samples that count where those closer together than ``gap_days`` count once.

    Taken from the oldest on: the first counts, then the next that lies far enough from the last
    that counted. So nobody picks the better one of two.
    """
    kept: list[Sample] = []
    for sample in sorted(samples, key=lambda sample: (sample.taken_on, sample.name)):
        if not kept or (sample.taken_on - kept[-1].taken_on).days >= gap_days:
            kept.append(sample)
    return kept


def short_months(samples: Iterable[Sample], day: date, rule: MeanRule) -> tuple[Month, ...]:
    """The months with too few samples, of the last ``rule.months`` up to that of ``day``.

    Samples count for their whole calendar month. The month that is still running is let off while
    the full number of months before it has its samples, so that a mean does not lapse on the first
    of every month.
    """
    index = day.year * 12 + day.month - 1
    counts: dict[int, int] = {}
    for sample in samples:
        if sample.taken_on <= day:
            month = sample.taken_on.year * 12 + sample.taken_on.month - 1
            counts[month] = counts.get(month, 0) + 1

    def short(first: int, last: int) -> list[Month]:
        return [
            Month(year=month // 12, month=month % 12 + 1, found=counts.get(month, 0))
            for month in range(first, last + 1)
            if counts.get(month, 0) < rule.samples_a_month
        ]

    found = short(index - rule.months + 1, index)
    running = day.day < monthrange(day.year, day.month)[1]
    if running and not short(index - rule.months, index - 1):
        return ()
    return tuple(found)


def judge_mean(samples: Iterable[Sample], rule: MeanRule, day: date) -> Verdict:
    """What the rolling geometric mean says on ``day``.

    ``samples``: at least those since ``first_day_needed``; later ones are not looked at.
    """
    known = spaced(samples, rule.gap_days)
    window = in_window(known, day, rule.months)
    values = [sample.value for sample in window]
    short = short_months(known, day, rule)
    mean = geometric_mean(values) if values else None
    if short or mean is None:
        return Verdict(
            outcome=Outcome.NOT_VALID,
            words=too_few(short, rule),
            mean=mean,
            samples=window,
            short=short,
        )
    blamed = tuple(sample for sample in window if sample.value > rule.at_most)
    within = mean_within(values, rule.at_most)
    most = next_allowed(values, rule.at_most)
    return Verdict(
        outcome=Outcome.WITHIN if within else Outcome.OVER,
        words=mean_words(mean, rule, within=within, blamed=blamed, number=len(window)),
        mean=mean,
        samples=window,
        blamed=() if within else blamed,
        next_allowed=most if most <= rule.at_most * WORTH_SAYING else None,
    )


def too_few(short: Sequence[Month], rule: MeanRule) -> str:
    """Why a mean says nothing."""
    reasons = [one.words(rule.samples_a_month) for one in short] or [_("no sample in the window")]
    return _("not valid, {each} ({scheme} needs {samples_a_month} a month)").format(
        each=", ".join(reasons), scheme=rule.scheme, samples_a_month=rule.samples_a_month
    )


def mean_words(
    mean: Decimal, rule: MeanRule, *, within: bool, blamed: Sequence[Sample], number: int
) -> str:
    """The sentence of a valid mean."""
    said = _(
        "mean of {number} samples in {months} months {mean_said}, limit {at_most} {unit} ({scheme})"
    ).format(
        number=number,
        months=rule.months,
        mean_said=mean_said(mean, rule.at_most),
        at_most=plain(rule.at_most),
        unit=_(rule.unit),
        scheme=rule.scheme,
    )
    if within:
        return _("within: {said}").format(said=said)
    return _("over: {said}, by {samples_said}").format(said=said, samples_said=samples_said(blamed))


def samples_said(samples: Sequence[Sample]) -> str:
    """Samples in words: result, day and name; of very many the highest, in the order of days."""
    worst = sorted(samples, key=lambda sample: -sample.value)[:MOST_NAMED]
    named = [sample for sample in samples if sample in worst][:MOST_NAMED]
    words = ", ".join(
        " ".join(filter(None, (sample.said, _("of"), day_said(sample.taken_on), sample.name)))
        for sample in named
    )
    left = len(samples) - len(named)
    return _("{words} and {left} more").format(words=words, left=left) if left else words


def judge_single(sample: Sample, bound: Bound) -> Verdict:
    """What a limit for single results says to one."""
    if bound.passes(sample.value):
        return Verdict(
            outcome=Outcome.WITHIN,
            words=_("within: {said}").format(said=bound_said(bound)),
            samples=(sample,),
        )
    return Verdict(
        outcome=Outcome.OVER,
        words=_("over: {said} of {taken_on}, {bound_said}").format(
            said=sample.said, taken_on=day_said(sample.taken_on), bound_said=bound_said(bound)
        ),
        samples=(sample,),
        blamed=(sample,),
    )


def bound_said(bound: Bound) -> str:
    """A bound in words."""
    parts = []
    if bound.at_most is not None:
        parts.append(_("at most {at_most}").format(at_most=plain(bound.at_most)))
    if bound.at_least is not None:
        parts.append(_("at least {at_least}").format(at_least=plain(bound.at_least)))
    return f"{' and '.join(parts)} {bound.unit} ({bound.scheme})"


def by_day(samples: Iterable[Sample], bound: Bound) -> list[Sample]:
    """One sample for each day, oldest first: of several the one that keeps the bound least."""

    def badness(sample: Sample) -> tuple[bool, Decimal]:
        low = bound.at_most is None
        return not bound.passes(sample.value), -sample.value if low else sample.value

    ordered = sorted(samples, key=lambda sample: (sample.taken_on, sample.name))
    days = groupby(ordered, key=lambda sample: sample.taken_on)
    return [max(of_day, key=badness) for _, of_day in days]


def judge_last(samples: Iterable[Sample], rule: LastRule, day: date) -> Verdict:
    """Whether too many of the last results up to ``day`` are over ("2 of 4", "3 of 5").

    Results are of separate days, so several of one day are one. Counted over as many as there are,
    up to ``of_last``: two bad results out of two are two of the last four already.
    """
    known = by_day((sample for sample in samples if sample.taken_on <= day), rule.bound)
    last = tuple(known[-rule.of_last :])
    over = tuple(sample for sample in last if not rule.bound.passes(sample.value))
    said = _("{count} of the last {of_last} results not {bound_said}").format(
        count=len(over), of_last=rule.of_last, bound_said=bound_said(rule.bound)
    )
    # The oldest of the last ones makes room for the next.
    kept = [sample for sample in known[-(rule.of_last - 1) :] if rule.of_last > 1]
    bad = sum(not rule.bound.passes(sample.value) for sample in kept)
    most = rule.bound.at_most if bad + 1 >= rule.times else None
    if len(over) < rule.times:
        return Verdict(
            outcome=Outcome.WITHIN,
            words=_("within: {said}").format(said=said),
            samples=last,
            next_allowed=most,
        )
    return Verdict(
        outcome=Outcome.OVER,
        words=_("over: {said}, {samples_said}").format(said=said, samples_said=samples_said(over)),
        samples=last,
        blamed=over,
        next_allowed=most,
    )
