"""Time lines as SVG: a row a thing, spans between moments, marks, and the line of now. Pure.

No colour and no style stands in the markup; the classes ``span``, ``span-first``, ``span-past``,
``mark``, ``now``, ``axis``, ``name`` and ``why`` get their look from the style sheet. Wide and, for
a phone, narrow; the same data stand in a table beside it.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils.dateformat import format as in_shape
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from config.charts import number, svg

WIDE, NARROW = 900, 340
# All lengths are units of the drawing. Names stand above their bar on a phone, before it on a desk.
NAME_WIDTH, ROW, BAR, FOOT, HEAD, EDGE = 190, 38, 16, 30, 16, 8
NAME_HEIGHT = 18
# Whole hours between two words of the scale, the first that leaves room for them.
STEPS = (1, 2, 3, 6, 12, 24, 48)
LABEL = 52


@dataclass(frozen=True, kw_only=True)
class Span:
    """From a moment to another; ``form``: "span", "span-first" or "span-past"; its words."""

    since: datetime
    until: datetime
    form: str
    words: str


@dataclass(frozen=True, kw_only=True)
class Mark:
    """Something that happened at a moment, in words."""

    at: datetime
    words: str


@dataclass(frozen=True, kw_only=True)
class Row:
    """One thing: its name, its address (for the table), a short word, its spans and marks."""

    name: str
    href: str
    word: str
    spans: Sequence[Span]
    marks: Sequence[Mark] = ()


@dataclass(frozen=True, kw_only=True)
class TimeBars:
    """A drawing's key, title and description, its rows, the moment of now, the clock's zone."""

    key: str
    title: str
    description: str
    rows: Sequence[Row]
    now: datetime
    zone: ZoneInfo

    @property
    def first(self) -> datetime:
        return min(self.moments())

    @property
    def last(self) -> datetime:
        return max(self.moments())

    def moments(self) -> Iterator[datetime]:
        """Every moment that is drawn."""
        yield self.now
        for row in self.rows:
            for span in row.spans:
                yield from (span.since, span.until)
            yield from (mark.at for mark in row.marks)

    def table(self) -> list[tuple[Row, str]]:
        """The drawn data as rows: the thing, and what happened when, in words."""
        return [(row, "; ".join(words_of(row))) for row in self.rows]

    def wide(self) -> SafeString:
        """The drawing for a desk and for paper."""
        return Drawn(self, WIDE, NAME_WIDTH, 0).drawn("wide")

    def narrow(self) -> SafeString:
        """The drawing for a phone."""
        return Drawn(self, NARROW, EDGE, NAME_HEIGHT).drawn("narrow")


def words_of(row: Row) -> list[str]:
    """Everything that is drawn of a row, in words."""
    return [span.words for span in row.spans] + [mark.words for mark in row.marks]


class Drawn:
    """Time bars in a certain size: from moments to places on it."""

    def __init__(self, bars: TimeBars, width: int, left: int, above: int) -> None:
        self.bars, self.width, self.left, self.above = bars, width, left, above
        self.first, self.last = bars.first, bars.last
        self.seconds = max((self.last - self.first).total_seconds(), 1)
        self.row = ROW + above
        self.height = HEAD + self.row * len(bars.rows) + FOOT

    def x(self, at: datetime) -> float:
        """Where a moment lies from the left."""
        room = self.width - self.left - EDGE
        return self.left + room * (at - self.first).total_seconds() / self.seconds

    def drawn(self, form: str) -> SafeString:
        """The svg element."""
        parts = [*self.scale(), *self.all_rows(), self.now_line()]
        inside = format_html_join("", "{}", ((part,) for part in parts))
        return svg(self.bars, "plot", form, (self.width, self.height), inside)

    def scale(self) -> Iterator[SafeString]:
        """The axis with its hours, and midnight told by its day."""
        floor = self.height - FOOT
        yield format_html(
            '<line class="axis" x1="{}" x2="{}" y1="{}" y2="{}"/>',
            number(self.left),
            number(self.width - EDGE),
            floor,
            floor,
        )
        for at, label in ticks(self.first, self.last, self.step(), self.bars.zone):
            yield format_html(
                '<line class="axis" x1="{x}" x2="{x}" y1="{y}" y2="{z}"/>'
                '<text class="why" x="{x}" y="{t}" text-anchor="middle">{label}</text>',
                x=number(self.x(at)),
                y=floor,
                z=floor + 5,
                t=floor + 20,
                label=label,
            )

    def step(self) -> int:
        """Whole hours between two words of the scale."""
        most = max((self.width - self.left - EDGE) // LABEL, 1)
        hours = self.seconds / 3600
        return next((step for step in STEPS if hours / step <= most), STEPS[-1])

    def all_rows(self) -> Iterator[SafeString]:
        for place, row in enumerate(self.bars.rows):
            top = HEAD + place * self.row
            inside = format_html(
                "{}{}{}",
                self.named(row, top),
                format_html_join("", "{}", ((self.bar(span, top),) for span in row.spans)),
                format_html_join("", "{}", ((self.tick(mark, top),) for mark in row.marks)),
            )
            yield format_html("<g>{}</g>", inside)

    def named(self, row: Row, top: int) -> SafeString:
        """The name and word of a row: before its bar, or above it."""
        y = top + (NAME_HEIGHT - 4 if self.above else BAR + 2)
        return format_html(
            '<text class="name" x="{}" y="{}">{}</text>',
            EDGE if self.above else 0,
            number(y),
            f"{row.name}: {row.word}",
        )

    def bar(self, span: Span, top: int) -> SafeString:
        x, to = self.x(span.since), self.x(span.until)
        return format_html(
            '<g><title>{}</title><rect class="{}" x="{}" y="{}" width="{}" height="{}"/></g>',
            span.words,
            span.form,
            number(x),
            number(top + self.above + 4),
            number(max(to - x, 1)),
            BAR,
        )

    def tick(self, mark: Mark, top: int) -> SafeString:
        x, y = self.x(mark.at), top + self.above
        return format_html(
            '<g><title>{}</title><line class="mark" x1="{}" x2="{}" y1="{}" y2="{}"/></g>',
            mark.words,
            number(x),
            number(x),
            number(y),
            number(y + BAR + 8),
        )

    def now_line(self) -> SafeString:
        x = self.x(self.bars.now)
        # Near an edge the word stands beside the line, inside the drawing.
        anchor = "end" if x > self.width - LABEL / 2 else "start" if x < LABEL / 2 else "middle"
        return format_html(
            '<line class="now" x1="{x}" x2="{x}" y1="{y}" y2="{z}"/>'
            '<text class="name" x="{x}" y="{t}" text-anchor="{anchor}">{now}</text>',
            x=number(x),
            y=HEAD,
            z=self.height - FOOT,
            t=HEAD - 4,
            anchor=anchor,
            now=_("now"),
        )


def ticks(
    first: datetime, last: datetime, step: int, zone: ZoneInfo
) -> Iterable[tuple[datetime, str]]:
    """(moment, label) at whole hours of the clock from first to last; the day at midnight."""
    at = first.replace(minute=0, second=0, microsecond=0)
    while at <= last:
        local = at.astimezone(zone)
        if at >= first and local.hour % min(step, 24) == 0:
            yield at, in_shape(local, _("D j")) if local.hour == 0 else f"{local:%H:%M}"
        at += timedelta(hours=1)
