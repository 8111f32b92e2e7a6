"""Drawings of numbers as SVG: results over time, and lots in their order, with limits. Pure.

No colour and no style stands in the markup; classes get their look from the style sheet, so that a
strict content security policy holds and the drawing prints. The axis of values is a logarithm's:
counts run from tens to thousands, and a doubling is as high wherever it happens. Each drawing comes
wide and, for a phone, narrow; the same data stand in a table beside it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, log10

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from config.charts import number, svg

TOP, BOTTOM, LEFT, RIGHT = 14, 30, 46, 14
WIDE, NARROW = (900, 320), (340, 260)
STEPS = (1, 2, 5)


@dataclass(frozen=True, kw_only=True)
class Line:
    """A level across the whole drawing, such as a limit; ``form``: its class in the style sheet."""

    value: float
    label: str
    form: str = "limit"


@dataclass(frozen=True, kw_only=True)
class Dot:
    """One value: where along the drawing (in the unit of ``ticks``), and words when it is told."""

    at: float
    value: float
    words: str = ""
    href: str = ""


@dataclass(frozen=True, kw_only=True)
class Plot:
    """A drawing's title and description, and what is drawn.

    ``dots``: drawn alike, without words of their own; ``told``: larger, each with its words;
    ``curves``: values joined by a line, a gap where a list ends; ``band``: from and to, shaded;
    ``ticks``: (place, label) along the bottom; ``first`` and ``last``: the ends of the drawing.
    """

    key: str
    title: str
    description: str
    first: float
    last: float
    dots: Sequence[Dot] = ()
    told: Sequence[Dot] = ()
    curves: Sequence[Sequence[Dot]] = ()
    lines: Sequence[Line] = ()
    band: tuple[float, float] | None = None
    ticks: Sequence[tuple[float, str]] = ()

    def wide(self) -> SafeString:
        """The drawing for a desk and for paper."""
        return Frame(self, *WIDE).drawn("wide")

    def narrow(self) -> SafeString:
        """The drawing for a phone."""
        return Frame(self, *NARROW).drawn("narrow")


class Frame:
    """A plot in a certain size: from values to places on it."""

    def __init__(self, plot: Plot, width: int, height: int) -> None:
        self.plot, self.width, self.height = plot, width, height
        values = [dot.value for dot in (*plot.dots, *plot.told)]
        values += [dot.value for curve in plot.curves for dot in curve]
        values += [line.value for line in plot.lines] + list(plot.band or ())
        shown = [value for value in values if value > 0] or [1.0, 10.0]
        # A little air above and below, so that no value lies on the frame.
        self.low, self.high = log10(min(shown)) - 0.05, log10(max(shown)) + 0.05
        self.span = (plot.last - plot.first) or 1

    def x(self, at: float) -> float:
        """Where a place along the drawing lies."""
        inside = self.width - LEFT - RIGHT
        return LEFT + inside * (at - self.plot.first) / self.span

    def y(self, value: float) -> float:
        """How high a value lies."""
        inside = self.height - TOP - BOTTOM
        share = (log10(value) - self.low) / (self.high - self.low)
        return TOP + inside * (1 - share)

    def drawn(self, form: str) -> SafeString:
        """The svg element."""
        plot = self.plot
        inside = format_html_join(
            "",
            "{}",
            (
                (part,)
                for part in (
                    self.shade(),
                    self.axes(),
                    self.levels(),
                    self.specks(),
                    *(self.joined(curve) for curve in plot.curves),
                    *(self.marked(dot) for dot in plot.told),
                )
            ),
        )
        return svg(plot, "plot", form, (self.width, self.height), inside)

    def shade(self) -> SafeString:
        """The band of what is usual."""
        if self.plot.band is None:
            return SafeString("")
        low, high = self.plot.band
        return format_html(
            '<rect class="usual" x="{}" y="{}" width="{}" height="{}"/>',
            LEFT,
            number(self.y(high)),
            number(self.width - LEFT - RIGHT),
            number(max(self.y(low) - self.y(high), 0.0)),
        )

    def axes(self) -> SafeString:
        """The frame's two sides, values beside it and ticks below."""
        foot = self.height - BOTTOM
        corner = format_html(
            '<path class="axis" d="M{} {}V{}H{}"/>', LEFT, TOP, foot, self.width - RIGHT
        )
        values = format_html_join(
            "",
            '<path class="axis" d="M{} {}h-5"/><text class="tick" x="{}" y="{}" '
            'text-anchor="end">{}</text>',
            (
                (LEFT, number(self.y(value)), LEFT - 8, number(self.y(value) + 4), f"{value:g}")
                for value in self.round_values()
            ),
        )
        ticks = self.plot.ticks
        # On a phone every third label: twelve months do not fit beside each other.
        each = ceil(len(ticks) / (6 if self.width < 500 else 13)) if ticks else 1
        below = format_html_join(
            "",
            '<path class="axis" d="M{} {}v5"/><text class="tick" x="{}" y="{}" '
            'text-anchor="middle">{}</text>',
            (
                (number(self.x(at)), foot, number(self.x(at)), foot + 19, label)
                for at, label in ticks[::each]
            ),
        )
        return corner + values + below

    def round_values(self) -> list[float]:
        """The round values inside the drawing: 1, 2, 5, 10 …, every power of ten when crowded."""
        powers = range(floor(self.low), ceil(self.high) + 1)
        steps = STEPS if self.high - self.low < 2.5 else (1,)
        found = [step * 10.0**power for power in powers for step in steps]
        return [value for value in found if self.low <= log10(value) <= self.high]

    def levels(self) -> SafeString:
        """Limits and the middle, each with its label at the left, above its line."""
        return format_html_join(
            "",
            '<path class="{}" d="M{} {}H{}"/><text class="level" x="{}" y="{}">{}</text>',
            (
                (
                    line.form,
                    LEFT,
                    number(self.y(line.value)),
                    self.width - RIGHT,
                    LEFT + 6,
                    number(self.y(line.value) - 5),
                    line.label,
                )
                for line in self.plot.lines
            ),
        )

    def specks(self) -> SafeString:
        """All plain values as one path of dots: a year has thousands."""
        across, up = self.width - LEFT - RIGHT, self.height - TOP - BOTTOM
        first, scale = self.plot.first, across / self.span
        foot, rise = TOP + up * (1 + self.low / (self.high - self.low)), up / (self.high - self.low)
        places = "".join(
            f"M{LEFT + scale * (dot.at - first):.1f} {foot - rise * log10(dot.value):.1f}h0"
            for dot in self.plot.dots
            if dot.value > 0
        )
        return format_html('<path class="dots" d="{}"/>', places) if places else SafeString("")

    def joined(self, curve: Sequence[Dot]) -> SafeString:
        """Values joined by a line."""
        places = [f"{self.x(dot.at):.1f} {self.y(dot.value):.1f}" for dot in curve]
        return format_html('<path class="line" d="M{}"/>', "L".join(places))

    def marked(self, dot: Dot) -> SafeString:
        """One value that is told: a diamond, seen without colour; a link when it leads on."""
        x, y = self.x(dot.at), self.y(dot.value)
        inside = format_html(
            '<title>{}</title><path class="late" d="M{} {}l5 5l-5 5l-5 -5z"/>',
            dot.words,
            number(x),
            number(y - 5),
        )
        return format_html('<a href="{}">{}</a>', dot.href, inside) if dot.href else inside
