"""A figure over the days as SVG, and in rows below it what was done on which day. Pure.

As in ``line_charts``: no colour and no style in the markup, a wide drawing and a narrow one for a
phone, and the same data as rows of a table. Here the days are to scale.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from config.charts import number, svg
from config.line_charts import BOTTOM, HEIGHT, LEFT, NARROW, RIGHT, WIDE, scale, step_of, y_of

LANE, MARK, FOOT = 30, 5, 30
# Days between two words of the scale, the first that leaves room for them.
STEPS = (10, 25, 50, 100, 200, 500)
LABEL = 44


@dataclass(frozen=True)
class Done:
    """Something of one day, in words."""

    day: int
    words: str


@dataclass(frozen=True)
class Lane:
    """A row of marks of one form ("tick", "ring" or "corner") below the curve, and its name."""

    name: str
    form: str
    marks: Sequence[Done]


@dataclass(frozen=True, kw_only=True)
class Curve:
    """A drawing's key, title, description, unit, what the days count from, points and lanes.

    ``points``: day, value, words for its title; in order of the days.
    """

    key: str
    title: str
    description: str
    unit: str
    days: str
    points: Sequence[tuple[int, float, str]]
    lanes: Sequence[Lane] = ()

    @property
    def rows(self) -> list[tuple[int, str, str]]:
        """The drawn data as a table: day, what, and value or words; in order of the days."""
        told = [(day, self.unit, words) for day, _, words in self.points]
        told += [(mark.day, lane.name, mark.words) for lane in self.lanes for mark in lane.marks]
        return sorted(told, key=lambda row: row[0])

    @property
    def last(self) -> int:
        """The last day that is drawn."""
        days = [day for day, _, _ in self.points]
        days += [mark.day for lane in self.lanes for mark in lane.marks]
        return max([*days, 1])

    def wide(self) -> SafeString:
        """The drawing for a desk and for paper."""
        return self.drawn("wide", WIDE)

    def narrow(self) -> SafeString:
        """The drawing for a phone."""
        return self.drawn("narrow", NARROW)

    def drawn(self, form: str, width: int) -> SafeString:
        """The svg element: scale, curve, lanes and the days below."""
        tallest = max([value for _, value, _ in self.points] + [0])
        step = step_of(tallest)
        top = step * max(1, -(-tallest // step))
        line = " ".join(
            f"{number(self.x(day, width))},{number(y_of(value, top))}"
            for day, value, _ in self.points
        )
        points = format_html_join(
            "",
            '<circle class="point" cx="{}" cy="{}" r="4"><title>{}</title></circle>',
            (
                (number(self.x(day, width)), number(y_of(value, top)), words)
                for day, value, words in self.points
            ),
        )
        height = HEIGHT - BOTTOM + LANE * len(self.lanes) + FOOT + 10
        inside = format_html(
            '{}<polyline class="line" points="{}"/>{}{}{}',
            scale(step, top, width, self.unit),
            line,
            points,
            format_html_join("", "{}", ((lane,) for lane in self.drawn_lanes(width))),
            self.day_words(width, height),
        )
        return svg(self, "plot", form, (width, height), inside)

    def x(self, day: int, width: int) -> float:
        """Where a day stands from the left."""
        return LEFT + (width - LEFT - RIGHT) * day / self.last

    def drawn_lanes(self, width: int) -> Iterator[SafeString]:
        """Each lane: its name, a line, and its marks."""
        for place, lane in enumerate(self.lanes):
            y = HEIGHT - BOTTOM + LANE * (place + 1)
            marks = format_html_join(
                "",
                "<g><title>{}</title>{}</g>",
                (
                    (mark.words, shape(lane.form, self.x(mark.day, width), y - MARK - 2))
                    for mark in lane.marks
                ),
            )
            yield format_html(
                '<g><text class="why" x="0" y="{}">{}</text>'
                '<path class="axis" d="M{},{} H{}"/>{}</g>',
                y - 3,
                lane.name,
                LEFT,
                y,
                width - RIGHT,
                marks,
            )

    def day_words(self, width: int, height: int) -> SafeString:
        """The scale of days at the foot."""
        room = (width - LEFT - RIGHT) // LABEL
        step = next((step for step in STEPS if self.last / step <= room), STEPS[-1])
        return format_html_join(
            "",
            '<text class="why" x="{}" y="{}" text-anchor="{}">{}</text>',
            (
                (
                    number(self.x(day, width)),
                    height - 8,
                    "end" if self.x(day, width) > width - RIGHT - LABEL / 2 else "middle",
                    day or f"{self.days} 0",
                )
                for day in range(0, self.last + 1, step)
            ),
        )


def shape(form: str, x: float, y: float) -> SafeString:
    """A mark around a place: a tick, a ring or a corner; told apart without colour."""
    if form == "ring":
        return format_html(
            '<circle class="ring" cx="{}" cy="{}" r="{}"/>', number(x), number(y), MARK
        )
    if form == "corner":
        left, right, top, low = x - MARK, x + MARK, y - MARK, y + MARK
        return format_html(
            '<path class="point" d="M{},{} H{} L{},{} Z"/>',
            number(left),
            number(top),
            number(right),
            number(x),
            number(low),
        )
    return format_html(
        '<path class="mark" d="M{},{} V{}"/>', number(x), number(y - MARK - 2), number(y + MARK)
    )
