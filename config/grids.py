"""Shelves as SVG: a stack a column, its cells from the floor up, each told by its form. Pure.

No colour and no style stands in the markup; the classes ``cell`` (taken), ``cell-free``,
``cell-held`` (hatched) and ``cell-wrong`` (thick edge) get their look from the style sheet, so that
they are told apart without colours. Each stack is one link with all its words; the same data stand
in a table beside the drawing.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from config.charts import HATCH, number, svg

TAKEN, FREE, HELD, WRONG = "cell", "cell-free", "cell-held", "cell-wrong"
# All lengths are units of the drawing.
CELL, GAP, NAME, BAND_GAP, EDGE = 14, 8, 18, 14, 2
WIDE, NARROW = 720, 340


@dataclass(frozen=True)
class Stack:
    """A column of cells (their forms, from the floor up): its name, its address, its words."""

    name: str
    href: str
    words: str
    cells: Sequence[str]


@dataclass(frozen=True, kw_only=True)
class Grid:
    """A drawing's key, title and description, its stacks, and the word over their names."""

    key: str
    title: str
    description: str
    stacks: Sequence[Stack]
    what: str

    def wide(self) -> SafeString:
        """The drawing for a desk and for paper."""
        return self.drawn("wide", WIDE)

    def narrow(self) -> SafeString:
        """The drawing for a phone: fewer stacks side by side."""
        return self.drawn("narrow", NARROW)

    def drawn(self, form: str, width: int) -> SafeString:
        """The svg element: the stacks in bands, as many in each as have room."""
        across = (width - 2 * EDGE) // (CELL + GAP)
        tall = max((len(stack.cells) for stack in self.stacks), default=1)
        band = tall * CELL + NAME + BAND_GAP
        parts = [
            drawn_stack(
                stack,
                EDGE + (place % across) * (CELL + GAP),
                EDGE + (place // across) * band + (tall - len(stack.cells)) * CELL,
            )
            for place, stack in enumerate(self.stacks)
        ]
        bands = -(-len(self.stacks) // across)
        # Of two drawings one is not shown; the other must not lean on its pattern.
        hatch = SafeString(HATCH.replace('id="hatch"', f'id="hatch-{form}"'))
        inside = format_html_join("", "{}", ((part,) for part in (hatch, *parts)))
        return svg(self, "plot", form, (width, max(bands, 1) * band), inside)


def drawn_stack(stack: Stack, x: float, y: float) -> SafeString:
    """One stack as a link: a shape for all its cells of a form, its name below."""
    high = len(stack.cells)
    outlines = format_html_join("", '<path class="{}" d="{}"/>', outlines_of(stack.cells, x, y))
    return format_html(
        '<a href="{}"><title>{}</title>{}<text class="why" x="{}" y="{}" text-anchor="middle">{}'
        "</text></a>",
        stack.href,
        stack.words,
        outlines,
        number(x + CELL / 2),
        number(y + high * CELL + NAME - 4),
        stack.name,
    )


def outlines_of(cells: Sequence[str], x: float, y: float) -> Iterator[tuple[str, str]]:
    """By form, the outline of the cells of it; what must be looked at is drawn over the rest."""
    high = len(cells)
    for form in (FREE, TAKEN, HELD, WRONG):
        squares = [
            f"M{number(x)} {number(y + (high - 1 - place) * CELL)}h{CELL}v{CELL}h-{CELL}z"
            for place, cell in enumerate(cells)
            if cell == form
        ]
        if squares:
            yield form, "".join(squares)
