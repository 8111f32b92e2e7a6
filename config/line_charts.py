"""Line charts as SVG: one figure over time with its limit, and the same data as rows of a table.

Pure: values in, markup out. No colour and no style stands in the markup; the classes ``axis``,
``line``, ``point``, ``limit`` and ``why`` get their look from the style sheet. Two drawings of the
same data: wide, and narrow for a phone, where the same letters stay readable.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from config.charts import svg

# All lengths are units of the drawing, about a pixel.
WIDE, NARROW, HEIGHT = 720, 340, 250
LEFT, RIGHT, TOP, BOTTOM = 46, 16, 28, 34
STEPS = (1, 2, 5)
# So many steps of the scale, at most, and so many units of width for a word below.
MOST_STEPS, LABEL_WIDTH = 5, 78


@dataclass(frozen=True)
class Point:
    """One value over a label, such as a day; ``words`` is what its title says besides."""

    label: str
    value: float
    words: str = ""


@dataclass(frozen=True, kw_only=True)
class LineChart:
    """A drawing's key (its id on the page), title, description in words, unit, points and limit."""

    key: str
    title: str
    description: str
    unit: str
    points: Sequence[Point]
    limit: float | None = None
    limit_words: str = ""

    @property
    def rows(self) -> list[tuple[str, str]]:
        """The drawn data as a table: label, and value as people read it."""
        return [(point.label, figure(point.value)) for point in self.points]

    def wide(self) -> SafeString:
        """The drawing for a desk."""
        return self.drawn("wide", WIDE)

    def narrow(self) -> SafeString:
        """The drawing for a phone."""
        return self.drawn("narrow", NARROW)

    def drawn(self, form: str, width: int) -> SafeString:
        """The svg element: scale, limit, line and points."""
        tallest = max([point.value for point in self.points] + [self.limit or 0, 0])
        step = step_of(tallest)
        top = step * max(1, -(-tallest // step))
        places = [
            (self.x(place, width), y_of(point.value, top))
            for place, point in enumerate(self.points)
        ]
        inside = format_html(
            "{}{}{}{}",
            scale(step, top, width, self.unit),
            self.limit_line(top, width),
            format_html(
                '<polyline class="line" points="{}"/>', " ".join(f"{x},{y}" for x, y in places)
            ),
            self.marks(places, width),
        )
        return svg(self, "plot", form, (width, HEIGHT), inside)

    def x(self, place: int, width: int) -> float:
        """Where a point stands from the left."""
        room = width - LEFT - RIGHT
        gaps = max(len(self.points) - 1, 1)
        return round(LEFT + room * (place / gaps if len(self.points) > 1 else 0.5), 1)

    def limit_line(self, top: float, width: int) -> SafeString:
        """The limit across the drawing, with its words above."""
        if self.limit is None:
            return SafeString("")
        y = y_of(self.limit, top)
        return format_html(
            '<path class="limit" d="M{},{} H{}"/>'
            '<text class="why" x="{}" y="{}" text-anchor="end">{}</text>',
            LEFT,
            y,
            width - RIGHT,
            width - RIGHT,
            round(y - 6, 1),
            self.limit_words,
        )

    def marks(self, places: Sequence[tuple[float, float]], width: int) -> SafeString:
        """Every point with its title; below, as many labels as have room, the last always."""
        every = max(1, -(-len(places) * LABEL_WIDTH // (width - LEFT - RIGHT)))
        last = len(places) - 1
        parts = []
        for place, ((x, y), point) in enumerate(zip(places, self.points, strict=True)):
            words = ", ".join(filter(None, (point.label, figure(point.value), point.words)))
            parts.append(
                format_html(
                    '<circle class="point" cx="{}" cy="{}" r="4"><title>{}</title></circle>',
                    x,
                    y,
                    words,
                )
            )
            if (last - place) % every == 0:
                anchor = "end" if place == last and last else "start" if not place else "middle"
                parts.append(
                    format_html(
                        '<text class="why" x="{}" y="{}" text-anchor="{}">{}</text>',
                        x,
                        HEIGHT - 10,
                        anchor if last else "middle",
                        point.label,
                    )
                )
        return format_html_join("", "{}", ((part,) for part in parts))


def scale(step: float, top: float, width: int, unit: str) -> SafeString:
    """Lines across at every step, their figures on the left, the unit on top."""
    steps = round(top / step)
    lines = format_html_join(
        "",
        '<path class="axis" d="M{},{} H{}"/><text class="why" x="{}" y="{}" '
        'text-anchor="end">{}</text>',
        (
            (
                LEFT,
                y_of(number * step, top),
                width - RIGHT,
                LEFT - 8,
                y_of(number * step, top) + 4,
                figure(number * step),
            )
            for number in range(steps + 1)
        ),
    )
    return format_html('{}<text class="why" x="0" y="14">{}</text>', lines, unit)


def step_of(tallest: float) -> float:
    """The step of the scale: 1, 2 or 5 times a power of ten, so that few steps reach the top."""
    power = 0.01
    while True:
        for step in STEPS:
            if tallest <= MOST_STEPS * step * power:
                return step * power
        power *= 10


def y_of(value: float, top: float) -> float:
    """How far below the upper edge a value lies."""
    return round(TOP + (HEIGHT - TOP - BOTTOM) * (1 - value / top), 1)


def figure(value: float) -> str:
    """A value with one decimal at most."""
    return f"{value:,.1f}".removesuffix(".0")
