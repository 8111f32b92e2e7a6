"""Flow drawings as SVG: boxes in stages, bands between them, the same data as rows of a table.

Pure: values in, markup out. No colour and no style stands in the markup; the classes ``node``,
``flow``, ``held``, ``stage``, ``name`` and ``why`` get their look from the style sheet, so that a
strict content security policy holds and the drawing prints. Two drawings of the same data: wide,
with bands, and tall, with bars, for a phone. Every text of a node goes through ``escape``; the rest
are figures and names of our own.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from html import escape
from itertools import groupby
from typing import Any, NamedTuple, Protocol

from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from config.language import in_readers_form

# All lengths are units of the drawing (about a pixel at full width).
MARGIN, TOP, GAP = 20, 60, 26
NODE_WIDTH, BAND_WIDTH = 192, 60
LINE, PAD = 18, 20
# The tallest column has this much height for its milk, besides the gaps.
COLUMN_HEIGHT = 400
THINNEST_BAND = 3.0
# Text wider than the box would run into the bands; the whole of it is in the box's title.
LONGEST_TEXT = 23
# More boxes in a stage nobody reads; the small ones are drawn as one.
MOST_NODES = 8
TALL_WIDTH, TALL_ROW = 340, 46


@dataclass(frozen=True, kw_only=True)
class Node:
    """One box. ``kg`` None: not known. ``words`` and ``why``: its second and third line."""

    key: str
    stage: str
    name: str
    kg: float | None = None
    words: str = ""
    why: str = ""
    held: bool = False
    href: str = ""
    count: int = 1

    @property
    def lines(self) -> int:
        """Lines of text in the box."""
        return 1 + bool(self.second) + bool(self.why)

    @cached_property
    def second(self) -> str:
        """The second line: kg first, then the words."""
        return ", ".join(part for part in (mass(self.kg), self.words) if part)

    @cached_property
    def title(self) -> str:
        """All that it says, in one line, as markup."""
        told = ", ".join(part for part in (self.name, self.second, self.why) if part)
        return f"<title>{escape(told)}</title>"


class Flow(NamedTuple):
    """One band to a box of a later stage; ``kg`` None or 0: in, but not known how much."""

    source: str
    target: str
    kg: float | None = None
    held: bool = False


@dataclass(frozen=True)
class Box:
    """Where a node is drawn."""

    node: Node
    x: float
    y: float
    height: float


@dataclass(frozen=True, kw_only=True)
class Chart:
    """A drawing's title, description (the answer in words), stages in order, boxes and bands."""

    key: str
    title: str
    description: str
    stages: Sequence[str]
    nodes: Sequence[Node]
    flows: Sequence[Flow]

    def rows(self) -> list[tuple[str, str, float | None, str]]:
        """The drawn data as a table: stage, name, kg and words; every node, none gathered."""
        order = {stage: place for place, stage in enumerate(self.stages)}
        said = {stage: _(stage) for stage in self.stages}
        told = sorted(self.nodes, key=lambda node: order[node.stage])
        return [
            (
                said[node.stage],
                node.name,
                node.kg,
                ", ".join(filter(None, (node.words, node.why))),
            )
            for node in told
        ]

    @cached_property
    def gathered(self) -> tuple[list[Node], list[Flow]]:
        """The boxes and bands that are drawn."""
        return gathered(self.nodes, self.flows)

    def wide(self) -> SafeString:
        """The drawing with bands, left to right."""
        nodes, flows = self.gathered
        stages = [stage for stage in self.stages if any(node.stage == stage for node in nodes)]
        boxes = placed(stages, nodes)
        width = 2 * MARGIN + len(stages) * NODE_WIDTH + (len(stages) - 1) * BAND_WIDTH
        height = max((box.y + box.height for box in boxes.values()), default=TOP) + MARGIN
        heads = (
            f'<text class="stage" x="{column_x(place)}" y="36">{escape(_(stage))}</text>'
            for place, stage in enumerate(stages)
        )
        parts = [HATCH, *bands(boxes, flows), *heads, *map(drawn, boxes.values())]
        return svg(self, "chart", "wide", (width, height), SafeString("".join(parts)))

    def tall(self) -> SafeString:
        """The drawing with bars, top to bottom; a bar is as long as its share of the stage."""
        nodes, _flows = self.gathered
        parts: list[str] = []
        y = 0
        for stage in self.stages:
            own = [node for node in nodes if node.stage == stage]
            if not own:
                continue
            y += LINE + PAD
            parts.append(f'<text class="stage" x="0" y="{y}">{escape(_(stage))}</text>')
            most = max((node.kg or 0 for node in own), default=0)
            for node in own:
                y += LINE // 2
                parts.append(bar(node, y, (node.kg or 0) / most if most else 0))
                y += TALL_ROW
        return svg(self, "chart", "tall", (TALL_WIDTH, y + MARGIN), SafeString("".join(parts)))


class Drawing(Protocol):
    """What is drawn: the id its elements begin with, and its words for whoever cannot see it."""

    @property
    def key(self) -> str: ...
    @property
    def title(self) -> str: ...
    @property
    def description(self) -> str: ...


def svg(
    drawing: Drawing, kind: str, form: str, size: tuple[float, float], inside: Any
) -> SafeString:
    """The svg element around a drawing, with its title and description.

    ``kind`` and ``form`` ("plot", "wide") make its class; the form also tells the drawings of the
    same data apart. ``size``: width and height.
    """
    return format_html(
        '<svg class="{kind}-{form}" viewBox="0 0 {width} {height}" role="{role}" '
        'aria-labelledby="{key}-{form}-t {key}-{form}-d">'
        '<title id="{key}-{form}-t">{title}</title>'
        '<desc id="{key}-{form}-d">{description}</desc>{inside}</svg>',
        kind=kind,
        form=form,
        # A picture is read as one thing; links in it would be lost.
        role="group" if "<a " in str(inside) else "img",
        width=number(size[0]),
        height=number(size[1]),
        key=drawing.key,
        title=drawing.title,
        description=drawing.description,
        inside=inside,
    )


# The style sheet fills what is held with this pattern, by its id; one drawing with bands a page.
HATCH = SafeString(
    '<defs><pattern id="hatch" width="8" height="8" patternTransform="rotate(45)" '
    'patternUnits="userSpaceOnUse"><rect class="hatch-ground" width="8" height="8"/>'
    '<rect class="hatch-line" width="3" height="8"/></pattern></defs>'
)


def number(value: float) -> str:
    """A length of the drawing, short."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


def mass(kg: float | None) -> str:
    """kg as a person reads it; "" when not known."""
    if kg is None:
        return ""
    return in_readers_form(f"{kg:,.0f} kg" if kg >= 100 else f"{kg:,.1f} kg")


def short(text: str, longest: int = LONGEST_TEXT) -> str:
    """Text that fits the box."""
    return text if len(text) <= longest else f"{text[: longest - 1].rstrip()}…"


def column_x(place: int) -> float:
    """The left edge of a stage."""
    return MARGIN + place * (NODE_WIDTH + BAND_WIDTH)


def gathered(
    nodes: Iterable[Node], flows: Iterable[Flow], most: int = MOST_NODES
) -> tuple[list[Node], list[Flow]]:
    """At most ``most`` boxes a stage, and their flows: held and heavy ones, and one of the rest."""
    kept: list[Node] = []
    now: dict[str, str] = {}
    for stage, group in groupby(
        sorted(nodes, key=lambda node: node.stage), lambda node: node.stage
    ):
        own = list(group)
        if len(own) > most:
            own.sort(key=lambda node: (not node.held, -(node.kg or 0)))
            rest = own[most - 1 :]
            own = [*own[: most - 1], together(stage, rest)]
            now.update({node.key: own[-1].key for node in rest})
        kept += own
    merged: dict[tuple[str, str], Flow] = {}
    for flow in flows:
        ends = now.get(flow.source, flow.source), now.get(flow.target, flow.target)
        before = merged.get(ends)
        merged[ends] = Flow(
            source=ends[0],
            target=ends[1],
            kg=(flow.kg or 0) + ((before.kg or 0) if before else 0),
            held=flow.held or bool(before and before.held),
        )
    return kept, list(merged.values())


def together(stage: str, rest: Sequence[Node]) -> Node:
    """Many small nodes as one."""
    known = [node.kg for node in rest if node.kg is not None]
    return replace(
        rest[0],
        key=f"{stage}:more",
        name=_("and {count} more").format(count=sum(node.count for node in rest)),
        kg=sum(known) if known else None,
        words="",
        why=_("some are held") if any(node.held for node in rest) else "",
        held=any(node.held for node in rest),
        href="",
    )


def placed(stages: Sequence[str], nodes: Sequence[Node]) -> dict[str, Box]:
    """Every node's box: heights follow kg on one scale, columns in the middle of the tallest."""
    columns = [[node for node in nodes if node.stage == stage] for stage in stages]
    heaviest = max((sum(node.kg or 0 for node in column) for column in columns), default=0)
    scale = COLUMN_HEIGHT / heaviest if heaviest else 0
    heights = [
        [max(node.lines * LINE + PAD, (node.kg or 0) * scale) for node in column]
        for column in columns
    ]
    totals = [sum(column) + GAP * max(len(column) - 1, 0) for column in heights]
    boxes: dict[str, Box] = {}
    for place, column in enumerate(columns):
        y = TOP + (max(totals) - totals[place]) / 2
        for node, height in zip(column, heights[place], strict=True):
            boxes[node.key] = Box(node, column_x(place), y, height)
            y += height + GAP
    return boxes


def bands(boxes: dict[str, Box], flows: Sequence[Flow]) -> list[str]:
    """Every flow as a curved band; at each end the bands share the height of the box."""
    told = [flow for flow in flows if flow.source in boxes and flow.target in boxes]
    told.sort(key=lambda flow: (boxes[flow.source].y, boxes[flow.target].y))
    starts = slices(boxes, told, lambda flow: flow.source)
    ends = slices(boxes, sorted(told, key=lambda flow: boxes[flow.source].y), lambda f: f.target)
    drawings = []
    across: dict[tuple[float, float], tuple[str, str, str]] = {}
    for flow in told:
        left, right = boxes[flow.source].x + NODE_WIDTH, boxes[flow.target].x
        # All between two stages begin and end alike.
        if (left, right) not in across:
            across[left, right] = number(left), number((left + right) / 2), number(right)
        x, middle, to_x = across[left, right]
        top, bottom = map(number, starts[flow])
        to_top, to_bottom = map(number, ends[flow])
        form = "flow held" if flow.held else "flow"
        drawings.append(
            f'<path class="{form}" d="M{x},{top} C{middle},{top} {middle},{to_top} {to_x},{to_top} '
            f'L{to_x},{to_bottom} C{middle},{to_bottom} {middle},{bottom} {x},{bottom} Z"/>'
        )
    return drawings


def slices(
    boxes: dict[str, Box], flows: Sequence[Flow], end: Callable[[Flow], str]
) -> dict[Flow, tuple[float, float]]:
    """Where each flow touches the box at one of its ends: top and bottom."""
    touching: dict[str, list[Flow]] = {}
    for flow in flows:
        touching.setdefault(end(flow), []).append(flow)
    found: dict[Flow, tuple[float, float]] = {}
    for key, own in touching.items():
        box, total = boxes[key], sum(flow.kg or 0 for flow in own)
        y = box.y
        for flow in own:
            part = box.height * (flow.kg or 0) / total if total else box.height / len(own)
            found[flow] = (y, y + max(part, THINNEST_BAND))
            y += part
    return found


def drawn(box: Box) -> str:
    """One box with its lines of text; a link when the node has an address."""
    node = box.node
    lines = [("name", node.name), ("", node.second), ("why", node.why)]
    x = number(box.x + 10)
    texts = [
        f'<text class="{form}" x="{x}" y="{number(box.y + PAD + place * LINE)}">'
        f"{escape(short(text))}</text>"
        for place, (form, text) in enumerate(line for line in lines if line[1])
    ]
    form = "node held" if node.held else "node"
    return linked(
        node,
        f"{node.title}"
        f'<rect class="{form}" x="{number(box.x)}" y="{number(box.y)}" width="{NODE_WIDTH}" '
        f'height="{number(box.height)}"/>{"".join(texts)}',
    )


def bar(node: Node, y: float, share: float) -> str:
    """One row of the tall drawing: name and kg, above a bar when it has kg."""
    label = ", ".join(part for part in (node.second, node.why) if part)
    inside = (
        f"{node.title}"
        f'<text class="name" x="0" y="{number(y + 10)}">{escape(short(node.name, 44))}</text>'
        f'<text class="why" x="0" y="{number(y + 26)}">{escape(short(label, 48))}</text>'
    )
    if node.kg is not None:
        below, form = number(y + 33), "bar held" if node.held else "bar"
        inside += (
            f'<rect class="bar-ground" x="0" y="{below}" width="{TALL_WIDTH}" height="6"/>'
            f'<rect class="{form}" x="0" y="{below}" width="{number(TALL_WIDTH * share)}" '
            f'height="6"/>'
        )
    return linked(node, inside)


def linked(node: Node, inside: str) -> str:
    """The drawing of a node, as a link when it has an address."""
    return f'<a href="{escape(node.href)}">{inside}</a>' if node.href else f"<g>{inside}</g>"
