"""Where a replay meets the lots of the book again as they are, so that it may stop there.

A correction of last year changes the lots of that day and, as long as its tank was not washed,
those they were carried into. From the first lot of each tank that opens as the book says, over
what the book says, nothing after it can differ.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from datetime import datetime, timedelta
from typing import Any

from config.asking import ask
from milk import blend
from milk.figures import longest_draws
from milk.models import LotParent
from milk.services import lot_rows, timeline
from milk.services.identity import opener
from milk.services.timeline import DELIVERY, MILKING, TimeLine, grams

# How far past the change to look for the meeting: further each time, at last to the end.
LOOKS = tuple(timedelta(days=days) for days in (2, 8, 32, 128))
# So few lots after the change are sooner computed again than looked at.
FEW = 24
LATER = """
    SELECT FROM milk_milklot WHERE tank_id = ANY(%(tanks)s::int4[]) AND opened_at > %(after)s
    LIMIT %(most)s
"""
Opening = tuple[int, Any, datetime]


def line_to_replay(tanks: Collection[int], since: datetime, until: datetime | None) -> TimeLine:
    """The time line to replay when something changed in [since, until]; to the end without it."""
    if until is not None:
        # A change decides how long a draw before it may have gone on.
        until += longest_draws().most
    if until is not None and many_after(tanks, until):
        for look in LOOKS:
            line = timeline.read(tanks, since, before=until + look)
            ends = meeting(line, until)
            if ends:
                return line.until(ends)
    return timeline.read(tanks, since)


def many_after(tanks: Collection[int], after: datetime) -> bool:
    """Whether more than a few lots of these tanks (keys) opened after a moment."""
    return len(ask(LATER, {"tanks": list(tanks), "after": after, "most": FEW + 1})) > FEW


def meeting(line: TimeLine, after: datetime) -> dict[int, datetime]:
    """By tank, the opening after ``after`` from which on the book is right; empty without one."""
    replay = blend.replay(line.flows, line.washes, line.standing)
    book = book_of(line)
    carried = carried_of(book)
    openings = {lot.key: opening_of(lot) for lot in replay.lots}
    right: dict[int, list[datetime]] = {tank: [] for tank in line.starts}
    crossed = Crossed(line.flows)
    for lot in replay.lots:
        if lot.opened_at > after and lot.opened_by[0] in (MILKING, DELIVERY):
            row = book.get(openings[lot.key])
            same = row is not None and carried[row] == parents_of(lot, openings, book)
            if same and crossed.is_clean(lot):
                right[lot.tank].append(lot.opened_at)
    moves = [flow for flow in line.flows if flow.source is not None and flow.to is not None]
    for ends in candidates(right):
        if not any(split_by(move, ends) for move in moves):
            return ends
    return {}


def candidates(right: Mapping[int, list[datetime]]) -> Iterator[dict[int, datetime]]:
    """Ever later choices of one opening for each tank; none when a tank has none."""
    for moment in sorted({at for openings in right.values() for at in openings}):
        later = {
            tank: min((at for at in openings if at >= moment), default=None)
            for tank, openings in right.items()
        }
        ends = {tank: at for tank, at in later.items() if at is not None}
        if len(ends) == len(right):
            yield ends


def split_by(move: blend.Flow, ends: Mapping[int, datetime]) -> bool:
    """Whether a move would be on both sides of the openings of its two tanks."""
    return (move.at < ends[move.source]) != (move.at < ends[move.to])


def opening_of(lot: blend.Lot) -> Opening:
    return lot.tank, lot.opened_by, lot.opened_at


def book_of(line: TimeLine) -> dict[Opening, int]:
    """The standing lots (keys) of the time line by what opened them, where that is one."""
    found: dict[Opening, list[int]] = defaultdict(list)
    for row in lot_rows.book_of(line):
        if not row.void:
            found[row.tank_id, opener(row), row.opened_at].append(row.pk)
    return {opening: rows[0] for opening, rows in found.items() if len(rows) == 1}


def carried_of(book: Mapping[Opening, int]) -> dict[int, dict[int, int]]:
    """By lot (key), the grams of other standing lots that the book says were carried into it."""
    found: dict[int, dict[int, int]] = {row: {} for row in book.values()}
    edges = LotParent.objects.filter(lot_id__in=list(found), parent__void=False)
    for lot, parent, kg in edges.values_list("lot_id", "parent_id", "kg"):
        found[lot][parent] = grams(kg)
    return found


def parents_of(
    lot: blend.Lot, openings: Mapping[blend.LotKey, Opening], book: Mapping[Opening, int]
) -> dict[int | None, int]:
    """What a replay carries into a lot, by lot of the book; None for one that is not in it so."""
    return {
        # A lot from before the time line goes by its key in the book.
        (book.get(openings[key]) if key in openings else key): carried
        for key, carried in lot.parents.items()
    }


class Crossed:
    """Moments of each tank across which milk flows, or at which a draw begins."""

    def __init__(self, flows: Iterable[blend.Flow]) -> None:
        self.spans: dict[int, list[tuple[datetime, datetime]]] = defaultdict(list)
        self.drawn: dict[int, set[datetime]] = defaultdict(set)
        self.opened: dict[tuple[int, datetime], int] = defaultdict(int)
        for flow in flows:
            for tank in (flow.source, flow.to):
                if tank is not None and flow.end > flow.at:
                    self.spans[tank].append((flow.at, flow.end))
            if flow.source is not None:
                self.drawn[flow.source].add(flow.at)
                if flow.perhaps_until is not None:
                    self.spans[flow.source].append((flow.at, flow.perhaps_until))
            else:
                self.opened[flow.to, flow.at] += 1

    def is_clean(self, lot: blend.Lot) -> bool:
        """Whether a replay can begin with the opening of this lot: nothing else is going on."""
        at = lot.opened_at
        alone = self.opened[lot.tank, at] == 1 and at not in self.drawn[lot.tank]
        return alone and not any(start < at < end for start, end in self.spans[lot.tank])
