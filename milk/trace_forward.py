"""Forward from milk to lots, vats and wheels and where they are, with a balance that closes.

Reads only. A lot below another has its milk at any share, also at 0 kg: not knowing is in. Two
weights go through the chain side by side: the whole of the lots that were touched, and the milk of
interest in them (the animal's, the group's).
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import NamedTuple
from uuid import UUID

from django.utils.translation import gettext as _

from milk import held_above, places
from milk.shares import parents_first
from milk.trace_back import fractions
from milk.trace_below_sql import DRAWS_BELOW, POURED_FROM_TRAYS, VATS_BELOW, WHEELS_BELOW
from milk.trace_parts import WheelIn, vat_name
from milk.trace_sql import LotRow, Reader
from milk.trace_start import Start
from milk.whey import SECOND_RING

# Every vat, draw and tray is kept to the gram; so much of each may be rounding.
ROUNDING_KG = 0.001
MOVED, DUMPED, DELIVERY, TRAY = "moved", "dumped", "delivery", "tray"


class Pair(NamedTuple):
    """kg of the whole of the lots touched, and kg of interest in it."""

    whole: float = 0.0
    interest: float = 0.0

    def __add__(self, other: "Pair") -> "Pair":  # type: ignore[override]
        return Pair(self.whole + other.whole, self.interest + other.interest)

    def times(self, factor: float) -> "Pair":
        return Pair(self.whole * factor, self.interest * factor)


NOTHING = Pair()


@dataclass(slots=True)
class LotOut:
    """A lot that has milk of it: own (``started``), or carried over.

    ``own_interest``: kg of its own milk that is of interest. ``kg``: in its mixture; ``left`` in
    the tank, ``lost`` at a wash, ``over``: drawn that the book has no milk for.
    """

    row: LotRow
    started: bool
    own_interest: float
    kg: Pair
    parents: list[tuple[str, float]] = field(default_factory=list)
    left: Pair = NOTHING
    lost: Pair = NOTHING
    over: Pair = NOTHING

    @property
    def share(self) -> Pair:
        """Of its mixture, the parts that are the whole and the interest."""
        if self.row.whole:
            return self.kg.times(1 / self.row.whole)
        return Pair(float(self.started), float(self.started))


@dataclass(slots=True)
class VatOut:
    """A vat with milk of it; ``parts``: (lot code, kg of that lot's milk that counts here)."""

    pk: int
    uuid: UUID
    day: date
    number: int
    round: int
    started_at: datetime
    kg: Pair = NOTHING
    parts: list[tuple[str, float]] = field(default_factory=list)

    @property
    def name(self) -> str:
        return vat_name(self.day, self.number, self.round)


@dataclass(slots=True)
class DrawOut:
    """Milk that went elsewhere than into a vat: ``what`` is delivery, dumped, drawn or moved."""

    what: str
    uuid: UUID
    name: str
    at: datetime
    lot: str
    kg: Pair


@dataclass(slots=True)
class TrayOut:
    """A tray with milk of it: what came in, was poured into vats, went as cream, and is left.

    ``parts``: (lot code, kg) of what came in.
    """

    uuid: UUID
    number: str
    at: datetime
    kg: Pair
    poured: Pair = NOTHING
    cream: Pair = NOTHING
    parts: list[tuple[str, float]] = field(default_factory=list)

    @property
    def left(self) -> Pair:
        return self.kg + self.poured.times(-1) + self.cream.times(-1)


class RingVat(NamedTuple):
    """A vat made with whey starter of a vat of the answer: a second ring."""

    uuid: UUID
    day: date
    number: int
    round: int
    started_at: datetime
    can: str
    from_vat: int

    @property
    def name(self) -> str:
        return vat_name(self.day, self.number, self.round)


@dataclass(frozen=True, kw_only=True)
class Balance:
    """kg of the lots touched: in, and where they went.

    ``over``: drawn that the book has no milk for. ``rounding``: how far the difference may be from
    0 for want of digits.
    """

    came_in: Pair
    over: Pair
    vats: Pair
    cream: Pair
    drawn: Pair
    trays: Pair
    tanks: Pair
    lost: Pair
    rounding: float

    @property
    def out(self) -> Pair:
        return sum(
            (self.vats, self.cream, self.drawn, self.trays, self.tanks, self.lost), start=NOTHING
        )

    @property
    def difference(self) -> Pair:
        rest = self.came_in + self.over + self.out.times(-1)
        # Adding 0 turns a difference of -0 into 0.
        return Pair(round(rest.whole, 6) + 0.0, round(rest.interest, 6) + 0.0)

    def lines(self) -> list[tuple[str, Pair]]:
        """Every figure with its name, in the order of a balance."""
        return [
            (_("Came in"), self.came_in),
            (_("Drawn that the book has no milk for"), self.over),
            (_("In vats"), self.vats),
            (_("Cream"), self.cream),
            (_("Elsewhere"), self.drawn),
            (_("Left in trays"), self.trays),
            (_("Left in tanks"), self.tanks),
            (_("Lost at washes"), self.lost),
            (_("Difference"), self.difference),
        ]

    @property
    def closes(self) -> bool:
        return abs(self.difference.whole) <= self.rounding


@dataclass(frozen=True, kw_only=True)
class Found:
    """Everything below a start."""

    start: Start
    lots: list[LotOut]
    vats: list[VatOut]
    wheels: list[tuple[WheelIn, Pair]]
    draws: list[DrawOut]
    trays: list[TrayOut]
    second_ring: list[RingVat]
    balance: Balance


def read_forward(reader: Reader, start: Start, at: datetime | None = None) -> Found:
    """Everything below the lots of a start, and the balance.

    ``at``: what is held and where wheels are will be asked then; it is sent ahead.
    """
    asked = sorted(start.lots())
    reader.below_ahead(asked)
    lots = lots_below(reader, start)
    vats, vat_rows = vats_of(reader, asked, lots)
    if vats:
        reader.ahead(SECOND_RING, vats=list(vats))
    wheels = reader.rows(WHEELS_BELOW, lots=asked) if vats else []
    if at:
        in_vats = {pk: vat for pk, *_, vat in wheels if vat in vats}
        made = held_above.Made(in_vats, {})
        held_above.send_named_ahead(lot_ids=lots, vat_ids=vats, wheel_ids=in_vats, made=made)
        places.send_ahead(in_vats, at)
    draws, trays = draws_of(reader, asked, lots)
    return Found(
        start=start,
        lots=list(lots.values()),
        vats=list(vats.values()),
        wheels=weighed(map(WheelIn._make, wheels), vats),
        draws=draws,
        trays=trays,
        balance=balance_of(lots, vats, draws, trays, vat_rows),
        # Last, for nothing else waits for it.
        second_ring=second_ring(reader, vats, {vat.uuid for vat in vats.values()}),
    )


def second_ring(reader: Reader, vats: Collection[int], inside: Collection[UUID]) -> list[RingVat]:
    """The vats made with whey starter of some (keys) that are not ``inside``."""
    if not vats:
        return []
    ring = [RingVat(*row) for row in reader.rows(SECOND_RING, vats=list(vats))]
    return [vat for vat in ring if vat.uuid not in inside]


def lots_below(reader: Reader, start: Start) -> dict[int, LotOut]:
    """The lots of the start and everything they were carried over into, in order of opening."""
    interests = start.lots()
    if not interests:
        return {}
    rows = {row.pk: row for row in reader.lots_below(sorted(interests))}
    edges = {pk: [edge for edge in row.edges if edge[0] in rows] for pk, row in rows.items()}
    found: dict[int, LotOut] = {}
    order = parents_first(
        dict.fromkeys(rows, 0), {pk: {parent: 0 for parent, _ in own} for pk, own in edges.items()}
    )
    for pk in order:
        assert isinstance(pk, int)
        row, started = rows[pk], pk in interests
        interest = interests.get(pk, 0.0)
        kg = Pair(row.kg, interest) if started else NOTHING
        for parent, carried in edges[pk]:
            kg += found[parent].share.times(carried)
        parents = [(rows[parent].code, carried) for parent, carried in edges[pk]]
        found[pk] = LotOut(row, started, interest, kg, parents)
    leave(found)
    for milking, pk, kg_of_it in start.parts:
        if milking is not None:
            milking.lots.append((rows[pk].code, kg_of_it))
    return {pk: found[pk] for pk in rows}


def leave(lots: dict[int, LotOut]) -> None:
    """What is left of each lot: in the tank while it stands there, lost when it was washed out."""
    passed_on: dict[int, float] = defaultdict(float)
    for lot in lots.values():
        for parent, kg in lot.row.edges:
            # Milk moved to another tank was drawn; what stayed under new milk was not.
            if parent in lots and lots[parent].row.tank_id == lot.row.tank_id:
                passed_on[parent] += kg
    for pk, lot in lots.items():
        if lot.row.void:
            continue
        left = lot.row.whole - lot.row.drawn_kg - passed_on[pk]
        part = lot.share.times(abs(left))
        if left < 0:
            lot.over = part
        elif lot.row.ended_at is None:
            lot.left = part
        else:
            lot.lost = part


def vats_of(
    reader: Reader, asked: list[int], lots: dict[int, LotOut]
) -> tuple[dict[int, VatOut], int]:
    """The vats with milk of these lots, by key, and how many pairs of vat and lot were weighed."""
    if not lots:
        return {}, 0
    vats: dict[int, VatOut] = {}
    weighed_rows = 0
    own = {pk: own_part(lot) for pk, lot in lots.items() if lot.started}
    codes = {pk: lot.row.code for pk, lot in lots.items()}
    for pk, lot, kg, *vat in reader.rows(VATS_BELOW, lots=asked):
        if lot not in lots:
            # Written since the lots were read, which is a moment ago.
            continue
        found = vats.get(pk)
        if found is None:
            found = vats[pk] = VatOut(pk, *vat)
        if lot in own:
            weighed_rows += 1
            found.kg += Pair(kg, kg * own[lot])
            found.parts.append((codes[lot], kg))
        else:
            found.parts.append((codes[lot], 0.0))
    return vats, weighed_rows


def own_part(lot: LotOut) -> float:
    """Of a lot's own milk, the part that is of interest."""
    return lot.own_interest / lot.row.kg if lot.row.kg else 1.0


def weighed(wheels: Iterable[WheelIn], vats: dict[int, VatOut]) -> list[tuple[WheelIn, Pair]]:
    """Wheels with their part of the vat's milk, in the order of the vats."""
    by_vat: dict[int, list[WheelIn]] = defaultdict(list)
    for wheel in wheels:
        by_vat[wheel.vat_id].append(wheel)
    return [
        (wheel, vat.kg.times(fraction))
        for vat in vats.values()
        for wheel, fraction in zip(by_vat[vat.pk], fractions(by_vat[vat.pk]), strict=True)
    ]


def draws_of(
    reader: Reader, asked: list[int], lots: dict[int, LotOut]
) -> tuple[list[DrawOut], list[TrayOut]]:
    """Deliveries, dumped and otherwise drawn milk, and trays."""
    if not lots:
        return [], []
    draws: list[DrawOut] = []
    trays: dict[int, TrayOut] = {}
    sizes: dict[int, tuple[float, float]] = {}
    for lot_pk, at, kg, tray, uuid, what, name, whole, cream in reader.rows(
        DRAWS_BELOW, lots=asked
    ):
        lot = lots.get(lot_pk)
        if lot is None:
            continue
        part = lot.share.times(kg)
        if tray is None:
            draws.append(DrawOut(what, uuid, name, at, lot.row.code, part))
            continue
        sizes[tray] = (whole, cream or 0.0)
        found = trays.setdefault(tray, TrayOut(uuid, name, at, NOTHING))
        found.kg += part
        found.parts.append((lot.row.code, part.whole))
    if trays:
        rows = reader.rows(POURED_FROM_TRAYS, trays=list(trays))
        poured: dict[int, float] = dict(rows)
        for pk, found in trays.items():
            whole, cream = sizes[pk]
            share = found.kg.times(1 / whole) if whole else NOTHING
            found.poured = share.times(poured.get(pk, 0.0))
            found.cream = share.times(cream)
    return draws, list(trays.values())


def balance_of(
    lots: dict[int, LotOut],
    vats: dict[int, VatOut],
    draws: Sequence[DrawOut],
    trays: Sequence[TrayOut],
    vat_rows: int,
) -> Balance:
    """In, used, drawn, left: of the own milk of the lots that were touched."""
    left = [tray.left for tray in trays]
    return Balance(
        came_in=total(Pair(lot.row.kg, lot.own_interest) for lot in lots.values() if lot.started),
        over=total(lot.over for lot in lots.values())
        + total(pair.times(-1) for pair in left if pair.whole < 0),
        vats=total(vat.kg for vat in vats.values()),
        cream=total(tray.cream for tray in trays),
        drawn=total(draw.kg for draw in draws if draw.what != MOVED),
        trays=total(pair for pair in left if pair.whole >= 0),
        tanks=total(lot.left for lot in lots.values()),
        lost=total(lot.lost for lot in lots.values()),
        rounding=ROUNDING_KG * (vat_rows + len(draws) + len(trays) + len(lots) + 1),
    )


def total(pairs: Iterable[Pair]) -> Pair:
    return sum(pairs, start=NOTHING)
