"""How the milk of the whole estate does: results over months, means, single values, drift. Reads.

One statement for the results and one for the limits, however long the year. Our own milk is drawn;
how the milk of each supplier stands is said beside it.
"""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from itertools import groupby
from typing import Any

from django.db.models.functions import TruncDate
from django.utils.dateformat import format as in_shape
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import day_in_figures, estate_zone, local_day, start_of
from config.language import in_readers_form
from config.plots import Dot, Line, Plot
from config.saying import MONTHS
from milk import herd_status, limits
from milk.control import LOTS, Control, control
from milk.judging import (
    Limits,
    Sampling,
    Series,
    Standing,
    first_day,
    lots_of,
    results_since,
    samplings,
    standings,
)
from milk.keeping import Kept, kept_lots
from milk.limits import Sample, months_before, plain
from milk.models import Limit, LotTest
from milk.models.limits import What, said_with_unit
from milk.quality_months import LEAST_GAP, MonthRow, Single, gap_of, month_ends, month_row
from milk.results import UNITS, standard
from milk.schemes import Schemes, schemes

DRAWN = (What.PLATE, What.CELLS)
YEAR = 12
MOST_MONTHS = 60
NOTHING = N_("No result of our own milk is written in these months.")


@dataclass(kw_only=True)
class Measure:
    """Plate or cell count of our own milk over the months, with what is drawn."""

    what: str
    unit: str
    singles: list[Single] = field(default_factory=list)
    months: list[MonthRow] = field(default_factory=list)
    bounds: list[Line] = field(default_factory=list)
    lots: list[Single] = field(default_factory=list)
    control: Control | None = None
    limit: Limit | None = None
    begins_late: bool = False

    @property
    def name(self) -> str:
        return str(What(self.what).label.partition(",")[0])

    @cached_property
    def over(self) -> list[Single]:
        """The single results over a limit, newest first."""
        return [single for single in reversed(self.singles) if single.over]

    @cached_property
    def shown(self) -> list[MonthRow]:
        """The months as a table shows them, newest first: long times without results in one row."""
        found: list[MonthRow] = []
        for is_empty, run in groupby(reversed(self.months), lambda row: row.is_empty):
            rows = list(run)
            found += [gap_of(rows)] if is_empty and len(rows) >= LEAST_GAP else rows
        return found

    @cached_property
    def drift(self) -> str:
        """Whether the newest lots drift from the usual, in a sentence."""
        chart = self.control
        if chart is None:
            return _("Too few lots for a control chart: it needs 20, there are {count}.").format(
                count=len(self.lots)
            )
        middle = _("the middle of the last {count} lots is {middle} {unit}").format(
            count=len(chart.values), middle=in_readers_form(f"{chart.middle:,.0f}"), unit=self.unit
        )
        sign = chart.drifting
        if sign is None:
            return _("No drift: {middle}, and the newest lots scatter as usual.").format(
                middle=middle
            )
        within = self.limit is None or all(
            single.sample.value <= (self.limit.at_most or 0) for single in self.lots[-8:]
        )
        before = _(", still within the limit") if within else ""
        return _("Drifting up{before}: {words} ({middle}).").format(
            before=before, words=sign.words, middle=middle
        )

    @cached_property
    def over_time(self) -> Plot:
        """The drawing of all single values, the means at the ends of months, and the limits."""
        first, last = self.months[0].day.replace(day=1), self.months[-1].day
        return Plot(
            key=f"{self.what}-time",
            title=_("{name} of our own milk, {unit}").format(
                name=capfirst(self.name), unit=self.unit
            ),
            description=self.said_over_time(),
            first=first.toordinal(),
            last=last.toordinal(),
            dots=[dot_of(single) for single in self.singles if not single.over],
            told=[dot_of(single, told=True) for single in self.singles if single.over],
            curves=self.means(),
            lines=self.bounds,
            ticks=[
                (row.day.replace(day=1).toordinal(), _(MONTHS[row.day.month - 1])[:3])
                for row in self.months
            ],
        )

    def means(self) -> list[list[Dot]]:
        """The rolling means at the ends of months, parted where a month has none."""
        parts = groupby(self.months, lambda row: row.mean is not None)
        return [
            [Dot(at=row.day.toordinal(), value=float(row.mean or 0)) for row in rows]
            for is_known, rows in parts
            if is_known
        ]

    def said_over_time(self) -> str:
        """What the drawing shows, in words."""
        if not self.singles:
            return _(NOTHING)
        values = [single.sample.value for single in self.singles]
        return _(
            "{count} results from {least} to {most}, {over} of them over a limit; "
            "the line is the rolling mean at the end of each month.{first_said}"
        ).format(
            count=len(values),
            least=plain(min(values)),
            most=plain(max(values)),
            over=len(self.over),
            first_said=self.first_said,
        )

    @property
    def first_said(self) -> str:
        """Of when the first result is, where it is not of the first months asked for."""
        if not self.singles or not self.begins_late:
            return ""
        return _(" The first is of {taken_on}.").format(
            taken_on=day_in_figures(self.singles[0].sample.taken_on)
        )

    @cached_property
    def in_order(self) -> Plot | None:
        """The control chart; None with too few lots."""
        chart = self.control
        if chart is None:
            return None
        lots = self.lots[-len(chart.values) :]
        signs = {sign.place: sign.words for sign in chart.signs}
        dots = [
            Dot(at=place, value=value, words=f"{single.lot}: {single.sample.said}", href=single.url)
            for place, (value, single) in enumerate(zip(chart.values, lots, strict=True))
        ]
        return Plot(
            key=f"{self.what}-control",
            title=_("{name} of the last {count} lots, {unit}").format(
                name=capfirst(self.name), count=len(lots), unit=self.unit
            ),
            description=self.drift,
            first=0,
            last=len(lots) - 1,
            dots=dots,
            told=[
                Dot(at=dot.at, value=dot.value, words=f"{dot.words}, {signs[place]}", href=dot.href)
                for place, dot in enumerate(dots)
                if place in signs
            ],
            curves=[dots],
            lines=[
                Line(
                    value=chart.middle,
                    label=_("middle {middle}").format(
                        middle=in_readers_form(f"{chart.middle:,.0f}")
                    ),
                    form="middle",
                ),
                Line(
                    value=chart.above[2],
                    label=_("three spreads {above}").format(
                        above=in_readers_form(f"{chart.above[2]:,.0f}")
                    ),
                    form="spread",
                ),
                *self.bounds[:1],
            ],
            band=(chart.below, chart.above[2]),
            ticks=[
                (place, in_shape(single.sample.taken_on, _("j M")))
                for place, single in enumerate(lots)
                if place % max(len(lots) // 6, 1) == 0
            ],
        )


@dataclass(kw_only=True)
class Quality:
    """The whole page: how each limit stands, samples asked for, milk in tanks, and the measures."""

    at: datetime
    first: date
    last: date
    standings: list[Standing]
    samplings: list[Sampling]
    kept: list[Kept]
    measures: list[Measure]
    schemes: Schemes
    herd: list[str]

    @property
    def answer(self) -> str:
        """The answer in words: the means, and how many single results of the window are over."""
        singles = [(len(one.over), one.name) for one in self.measures if one.over]
        said = ", ".join(
            _("{number} of {what}").format(number=number, what=what) for number, what in singles
        )
        return (
            _("{means} Single results over a limit: {said}.").format(means=self.means, said=said)
            if said
            else self.means
        )

    @property
    def means(self) -> str:
        """What is over, else what is near or not valid, else that all keeps."""
        over = [one for one in self.standings if one.verdict.is_over]
        if over:
            named = ", ".join(dict.fromkeys(f"{one.what} ({one.producer})" for one in over))
            return _("Over a limit: {named}.").format(named=named)
        near = [one for one in self.standings if one.is_near]
        if near:
            return _("Near a limit: {each}.").format(
                each=", ".join(dict.fromkeys(one.what for one in near))
            )
        unsure = [one for one in self.standings if one.verdict.outcome == "not valid"]
        if unsure:
            named = ", ".join(dict.fromkeys(one.what for one in unsure))
            return _("No mean is over, but too few samples say nothing about {named}.").format(
                named=named
            )
        return _("Every mean and every series keeps its limit.")


def quality(at: datetime, *, until: date | None = None, months: int = YEAR) -> Quality:
    """The quality of the milk as known at ``at``, over the months up to the day ``until``."""
    in_force = Limits()
    last = until or local_day(at)
    moment = min(at, start_of(date.fromordinal(last.toordinal() + 1)))
    first = first_of(last, months)
    rows = [row for of in Limit.Of.values for row in in_force.on(last, of) if of != "single"]
    whats = {*DRAWN, *(row.what for row in rows)}
    since = min([limits.first_day_needed(first, 3), *([first_day(rows, last)] if rows else [])])
    singles, series = read(whats, since, moment, in_force)
    return Quality(
        at=at,
        first=first,
        last=last,
        standings=standings(moment, in_force, series),
        samplings=samplings(moment, in_force, series),
        kept=kept_lots(at),
        measures=[measure(what, singles.get(what, []), first, last, in_force) for what in DRAWN],
        schemes=schemes(),
        herd=herd_status.said(at),
    )


def first_of(last: date, months: int) -> date:
    """The first day of so many months that end with the month of ``last``."""
    return months_before(last.replace(day=1), months - 1)


def read(
    whats: Sequence[str] | set[str], since: date, at: datetime, in_force: Limits
) -> tuple[dict[str, list[Single]], Series]:
    """The standing results since a day: our own as singles, and all by what and producer."""
    day = TruncDate("happened_at", tzinfo=estate_zone())
    found = results_since(whats, since, at).annotate(day=day)
    rows = list(found.values_list("what", "day", "value", "written", "unit", "lot_id"))
    lots = lots_of([row[-1] for row in rows])
    singles: dict[str, list[Single]] = defaultdict(list)
    series: Series = defaultdict(lambda: defaultdict(list))
    for what, taken_on, value, written, unit, number in rows:
        lot = lots[number]
        sample = Sample(
            taken_on=taken_on,
            value=standard(what, value, unit),
            name=_("lot {code}").format(code=lot.code),
            written=said_with_unit(what, written, value, unit),
        )
        series[what][lot.producer].append(sample)
        if not lot.producer:
            over = not in_force.keeps(what, sample)
            singles[what].append(Single(sample=sample, lot=lot.code, uuid=lot.uuid, over=over))
    return singles, series


def measure(what: str, singles: list[Single], first: date, last: date, in_force: Limits) -> Measure:
    """One thing measured: months, limits and control chart."""
    days = [single.sample.taken_on for single in singles]
    inside = singles[bisect_left(days, first) : bisect_right(days, last)]
    mean = next((row for row in in_force.on(last, Limit.Of.MEAN) if row.what == what), None)
    lots = by_lot(singles)[-LOTS:]
    start = first_shown(days, first, last)
    return Measure(
        what=what,
        unit=UNITS[what],
        singles=inside,
        months=[month_row(what, singles, days, end, in_force) for end in month_ends(start, last)],
        bounds=bounds_of(what, last, in_force),
        lots=lots,
        control=control([float(single.sample.value) for single in lots]),
        limit=mean,
        begins_late=start > first,
    )


def first_shown(days: Sequence[date], first: date, last: date) -> date:
    """The first day to show: of a young book the month of its first result, not a year of none."""
    if not days or days[0] > last:
        return last.replace(day=1)
    return max(first, days[0].replace(day=1))


def by_lot(singles: Sequence[Single]) -> list[Single]:
    """The newest result of each lot, in the order they were sampled."""
    newest = {single.lot: single for single in singles}
    return sorted(newest.values(), key=lambda single: single.sample.taken_on)


def bounds_of(what: str, day: date, in_force: Limits) -> list[Line]:
    """The limits to draw: of the mean first, then of single results where they are others."""
    rows = [*in_force.on(day, Limit.Of.MEAN), *in_force.on(day, Limit.Of.SINGLE)]
    found: dict[float, Line] = {}
    for row in rows:
        if row.what == what and row.at_most is not None and float(row.at_most) not in found:
            label = _("limit {at_most} ({scheme})").format(
                at_most=plain(row.at_most), scheme=row.scheme
            )
            found[float(row.at_most)] = Line(value=float(row.at_most), label=label)
    return list(found.values())


def dot_of(single: Single, *, told: bool = False) -> Dot:
    """A single as it is drawn."""
    sample = single.sample
    words = (
        _("{said} of {taken_on}, {sample}").format(
            said=sample.said, taken_on=day_in_figures(sample.taken_on), sample=sample.name
        )
        if told
        else ""
    )
    return Dot(
        at=sample.taken_on.toordinal(),
        value=float(sample.value),
        words=words,
        href=single.url if told else "",
    )


def results_between(first: date, last: date) -> Any:
    """Every standing result sampled on these days, our own and suppliers', for a file."""
    return (
        LotTest.objects.standing()
        .filter(
            happened_at__gte=start_of(first),
            happened_at__lt=start_of(date.fromordinal(last.toordinal() + 1)),
        )
        .select_related("lot__delivery__holding", "delivery")
        .order_by("happened_at", "id")
    )
