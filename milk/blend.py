"""What is mixed with what in the tanks: a time line of milk in and out, replayed into lots.

Pure: no clock, no database; all weights in whole grams, all moments aware datetimes.

The rules (composition is frozen at the first draw; any share above 0 is in until a wash):

- A lot opens with the first milk after a wash, with milk of another session than its own, or with
  milk after a draw. A delivery and a move from another tank are always lots of their own.
- What is left in the tank is carried into the new lot as a parent. When the book says that nothing
  or less than nothing is left, the parent is written with 0 g: not knowing is in. Only a wash or
  "emptied" ends the chain; what was left then counts as lost.
- Milk that flows in while a draw begins, or while the tank is washed, is split at that moment in
  proportion to time. A draw during which milk begins to flow in is split likewise.
- A draw that begins while milk is flowing in takes from the new lot, into which the old one is
  carried, and so holds both; the milk does not wait outside until the tap is shut.
- Without an end, milk comes and goes in a moment, at its start. A draw of which nobody wrote the
  end may have gone on until the tank was drawn from or washed again, at most until
  ``perhaps_until``: lots that open in the tank meanwhile are in it with 0 g, for not knowing is in.
- At the same moment: draws, then wash or emptied, then milk in, then draws that last on.
"""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

# How the caller names flows, tanks, sessions and lots: anything that can be hashed.
Key = Any
LotKey = Any


@dataclass(frozen=True, kw_only=True)
class Flow:
    """Milk that flows: into a tank, out of one, or from one into another.

    ``key`` names it; two flows never share one. ``session``: milk of one session makes one lot
    (day and milking; for a delivery or a move its own key). ``perhaps_until``: of a draw without
    an end, the moment before which it was over.
    """

    key: Key
    at: datetime
    grams: int
    until: datetime | None = None
    source: Key = None
    to: Key = None
    session: Key = None
    perhaps_until: datetime | None = None

    @property
    def end(self) -> datetime:
        return self.until if self.until and self.until > self.at else self.at


@dataclass(frozen=True)
class Wash:
    """A tank washed, or emptied to the last drop."""

    tank: Key
    at: datetime


@dataclass(frozen=True)
class Piece:
    """A stretch of a flow between two cuts."""

    flow: Flow
    at: datetime
    grams: int
    first: bool


@dataclass
class Lot:
    """One lot: ``key`` is (what opened it, how many lots that had opened before).

    ``ins``: (flow key, moment, grams) of its own milk, in order. ``parents``: grams of other lots'
    mixtures. ``draws``: (flow key, moment, grams).
    """

    key: LotKey
    tank: Key
    session: Key
    opened_by: Key
    opened_at: datetime
    closed_at: datetime | None = None
    ended_at: datetime | None = None
    ins: list[tuple[Key, datetime, int]] = field(default_factory=list)
    parents: dict[LotKey, int] = field(default_factory=dict)
    draws: list[tuple[Key, datetime, int]] = field(default_factory=list)

    @property
    def grams(self) -> int:
        """The lot's own milk."""
        return sum(grams for _, _, grams in self.ins)

    @property
    def carried(self) -> int:
        return sum(self.parents.values())

    @property
    def drawn(self) -> int:
        return sum(grams for _, _, grams in self.draws)

    @property
    def left(self) -> int:
        """What the book says is left; below 0 when more was drawn than came in."""
        return self.grams + self.carried - self.drawn

    def parts(self) -> dict[Key, int]:
        """Grams of the lot's own milk by what brought it."""
        found: dict[Key, int] = defaultdict(int)
        for key, _, grams in self.ins:
            found[key] += grams
        return dict(found)

    def close(self, at: datetime) -> None:
        self.closed_at = self.closed_at or at


def split(grams: int, start: datetime, end: datetime, cuts: Iterable[datetime]) -> list[int]:
    """``grams`` shared out over the stretches between the cuts, in proportion to time."""
    whole = (end - start).total_seconds()
    reached = [int(grams * ((cut - start).total_seconds() / whole)) for cut in sorted(cuts)]
    marks = [0, *reached, grams]
    return [after - before for before, after in zip(marks, marks[1:], strict=False)]


def within(moments: list[datetime], after: datetime, before: datetime) -> list[datetime]:
    """Those of the sorted moments that lie strictly between two."""
    return moments[bisect_right(moments, after) : bisect_left(moments, before)]


class Cuts:
    """Where each flow is cut. Cuts are only ever added, so repeating the rules comes to an end."""

    def __init__(self, flows: list[Flow], washes: Iterable[Wash]) -> None:
        self.flows = flows
        self.of: dict[Key, set[datetime]] = {flow.key: set() for flow in flows}
        begins: dict[Key, set[datetime]] = defaultdict(set)
        for flow in flows:
            if flow.source is not None:
                begins[flow.source].add(flow.at)
        for wash in washes:
            begins[wash.tank].add(wash.at)
        self.cut([flow for flow in flows if flow.to is not None], begins, lambda flow: flow.to)
        draws = [flow for flow in flows if flow.source is not None]
        # A move that is cut brings milk in at further moments, which cut other draws in turn.
        while self.cut(draws, self.comes_in(), lambda flow: flow.source):
            pass

    def cut(
        self,
        flows: list[Flow],
        moments: Mapping[Key, set[datetime]],
        tank_of: Callable[[Flow], Key],
    ) -> bool:
        """Cut flows at the moments of their tank that lie inside them; whether that was news."""
        ordered = {tank: sorted(found) for tank, found in moments.items()}
        before = sum(map(len, self.of.values()))
        for flow in flows:
            if flow.end > flow.at:
                self.of[flow.key].update(within(ordered.get(tank_of(flow), []), flow.at, flow.end))
        return sum(map(len, self.of.values())) > before

    def comes_in(self) -> dict[Key, set[datetime]]:
        """By tank, the moments at which milk, or a further stretch of it, begins to come in."""
        found = self.flowing()
        for flow in self.flows:
            if flow.to is not None:
                found[flow.to].add(flow.at)
        return found

    def flowing(self) -> dict[Key, set[datetime]]:
        """By tank, the cuts at which milk was flowing in already and goes on."""
        found: dict[Key, set[datetime]] = defaultdict(set)
        for flow in self.flows:
            if flow.to is not None:
                found[flow.to] |= self.of[flow.key]
        return found

    def pieces(self) -> Iterator[Piece]:
        for flow in self.flows:
            cuts = sorted(self.of[flow.key])
            weights = split(flow.grams, flow.at, flow.end, cuts) if cuts else [flow.grams]
            for at, grams in zip([flow.at, *cuts], weights, strict=True):
                yield Piece(flow, at, grams, first=at == flow.at)


@dataclass
class Moment:
    """Everything that happens at one moment, in the order in which it counts."""

    draws: list[Piece] = field(default_factory=list)
    washed: list[Wash] = field(default_factory=list)
    ins: list[Piece] = field(default_factory=list)
    lasting: list[Piece] = field(default_factory=list)


@dataclass
class Replay:
    """The outcome: lots in order of opening, and draws for which the book knows no milk."""

    lots: list[Lot] = field(default_factory=list)
    loose: list[tuple[Key, datetime, int]] = field(default_factory=list)
    now: dict[Key, Lot] = field(default_factory=dict)
    opened: dict[Key, int] = field(default_factory=lambda: defaultdict(int))
    # By tank, the last draws from it as long as they may not be over.
    unsure: dict[Key, list[Flow]] = field(default_factory=lambda: defaultdict(list))

    def draw(self, piece: Piece, grams: int) -> LotKey | None:
        """Take milk from a tank; the lot it came from, None when the tank held none."""
        lot = self.now.get(piece.flow.source)
        taken = (piece.flow.key, piece.at, grams)
        self.now_drawn(piece, known=lot is not None)
        if lot is None:
            if grams:
                self.loose.append(taken)
            return None
        lot.close(piece.at)
        lot.draws.append(taken)
        return lot.key

    def now_drawn(self, piece: Piece, *, known: bool) -> None:
        """The draws before this one are over; whether this one is may not be known."""
        self.drawn_again(piece)
        flow = piece.flow
        if known and flow.perhaps_until is not None and flow.until is None and flow.to is None:
            self.unsure[flow.source].append(flow)

    def drawn_again(self, piece: Piece) -> None:
        """Draws from the tank that began before this one are over."""
        tank = piece.flow.source
        self.unsure[tank] = [other for other in self.unsure[tank] if other.at == piece.at]

    def wash(self, wash: Wash) -> None:
        self.unsure.pop(wash.tank, None)
        lot = self.now.pop(wash.tank, None)
        if lot is not None:
            lot.close(wash.at)
            lot.ended_at = wash.at

    def pour(self, piece: Piece, parent: LotKey | None) -> None:
        """Milk into a tank: into the lot that is open, or a new one over what is left."""
        flow = piece.flow
        lot = self.now.get(flow.to)
        if lot is None or lot.closed_at or lot.session != flow.session:
            lot = self.open(piece, lot)
        if parent is None:
            lot.ins.append((flow.key, piece.at, piece.grams))
        else:
            lot.parents[parent] = lot.parents.get(parent, 0) + piece.grams

    def open(self, piece: Piece, before: Lot | None) -> Lot:
        flow = piece.flow
        self.opened[flow.key] += 1
        key = (flow.key, self.opened[flow.key])
        lot = Lot(key, flow.to, flow.session, flow.key, piece.at)
        if before is not None:
            before.close(piece.at)
            before.ended_at = piece.at
            lot.parents[before.key] = max(before.left, 0)
        lot.draws += [
            (draw.key, piece.at, 0)
            for draw in self.unsure[flow.to]
            if draw.perhaps_until and piece.at < draw.perhaps_until
        ]
        self.now[flow.to] = lot
        self.lots.append(lot)
        return lot


def replay(
    flows: Iterable[Flow], washes: Iterable[Wash], standing: Mapping[Key, Lot] | None = None
) -> Replay:
    """Replay a time line into lots.

    ``flows`` that share a moment are taken in the order given. ``standing``: by tank, the closed
    lot that was in it before the first of them (see ``known_lot``); it is not among the outcome.
    """
    state = Replay(now=dict(standing or {}))
    moments = moments_of(list(flows), list(washes))
    for at in sorted(moments):
        play(state, moments[at])
    return state


def known_lot(key: LotKey, tank: Key, grams: int, at: datetime) -> Lot:
    """A lot from before the time line, of which ``grams`` are left in the tank."""
    return Lot(key, tank, None, None, at, closed_at=at, ins=[(None, at, grams)])


def moments_of(flows: list[Flow], washes: list[Wash]) -> dict[datetime, Moment]:
    """The pieces of every flow and the washes, by moment and by turn."""
    cuts = Cuts(flows, washes)
    comes, flowing = cuts.comes_in(), cuts.flowing()
    moments: dict[datetime, Moment] = defaultdict(Moment)
    for wash in washes:
        moments[wash.at].washed.append(wash)
    for piece in cuts.pieces():
        moment, tank = moments[piece.at], piece.flow.source
        if tank is None:
            moment.ins.append(piece)
        elif (
            not piece.first
            or piece.at in flowing[tank]
            or (piece.flow.end > piece.at and piece.at in comes[tank])
        ):
            moment.lasting.append(piece)
        else:
            moment.draws.append(piece)
    return moments


def play(state: Replay, moment: Moment) -> None:
    """One moment of the time line."""
    moved = [(piece, state.draw(piece, piece.grams)) for piece in moment.draws]
    begin_lasting(state, moment)
    for wash in moment.washed:
        state.wash(wash)
    for piece in moment.ins:
        state.pour(piece, None)
    for piece, lot in moved:
        if piece.flow.to is not None:
            state.pour(piece, lot)
    for piece in upstream_first(moment.lasting):
        lot = state.draw(piece, piece.grams)
        if piece.flow.to is not None:
            state.pour(piece, lot)


def begin_lasting(state: Replay, moment: Moment) -> None:
    """Draws begin that last while milk comes in: what comes from now on is another lot.

    When the tank is washed at that very moment too, the old lot is not carried on; the draw then
    takes 0 g of it: not knowing is in.
    """
    washed = {wash.tank for wash in moment.washed}
    for piece in moment.lasting:
        tank = piece.flow.source
        state.drawn_again(piece)
        if piece.first and tank in washed:
            state.draw(piece, 0)
        elif piece.first and tank in state.now:
            state.now[tank].close(piece.at)


def upstream_first(pieces: list[Piece]) -> Iterator[Piece]:
    """Draws of one moment such that milk moved into a tank is there before that tank is drawn."""
    waiting = list(pieces)
    while waiting:
        filled = {piece.flow.to for piece in waiting if piece.flow.to is not None}
        free = [piece for piece in waiting if piece.flow.source not in filled]
        ready = free or waiting[:1]
        yield from ready
        waiting = [piece for piece in waiting if piece not in ready]
