"""Back from a wheel, a vat or a lot to the milk, the animals, their courses and their feed.

Reads only. The statements stand in ``milk.trace_sql``; this module puts their rows together. kg are
floats of kg in the thing that was asked about: a wheel has its part of the vat's milk by weight.
"""

from collections import defaultdict
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property

from milk import trace_animals, trace_inside
from milk.shares import mixtures
from milk.trace_animals import heaviest, mistaken, not_weighed, told
from milk.trace_feeds import feedings_asked, feeds_before, open_asked
from milk.trace_inside import Inside, Part, factors, inside, metered_asked
from milk.trace_inside_sql import METERED
from milk.trace_mistakes import IN_TANKS, mistakes_in, tanks_asked
from milk.trace_parts import CowAt, CowIn, FeedIn, LotIn, MilkingIn, Period, WheelIn
from milk.trace_sql import (
    FEEDINGS_BEFORE,
    LOTS_ABOVE,
    MILKINGS_OF_LOTS,
    OPEN_LOAD_FED,
    WHEELS_OF_VATS,
    LotRow,
    Reader,
)


@dataclass(frozen=True, kw_only=True)
class Found:
    """Everything above a thing; ``kg`` is the milk in it."""

    kg: float
    lots: list[LotIn]
    milkings: list[MilkingIn]
    inside: Inside
    feeds: list[FeedIn]
    wheels: list[WheelIn]

    @property
    def number(self) -> int:
        """How many animals."""
        return len(self.inside.kg)

    @property
    def unweighed(self) -> int:
        """How many animals have an equal part of what their group gave."""
        return not_weighed(self.inside)

    @cached_property
    def animals(self) -> list[CowIn]:
        """Every animal, heaviest first. Told at the first look, which takes longer than a trace."""
        return told(self.inside)

    @cached_property
    def mistaken(self) -> list[CowIn]:
        """The animals milked into it by mistake."""
        return told(self.inside, mistaken(self.inside))

    def foremost(self, number: int) -> set[int]:
        """So many animals (keys) with the most milk in it, and all milked into it by mistake."""
        return heaviest(self.inside, number) | mistaken(self.inside)

    def ask_ahead(self, animals: set[int]) -> None:
        """Ask for what ``tell`` wants of animals (keys); within ``in_a_row``."""
        trace_animals.send_ahead(self.inside, self.with_withheld(animals))

    def tell(self, animals: set[int]) -> list[CowIn]:
        """Some animals (keys), those milked into it by mistake among them, heaviest first.

        Whoever was inside a withdrawal period is told by the same two reads.
        """
        cows = told(self.inside, self.with_withheld(animals))
        mistakes = mistaken(self.inside)
        self.__dict__["mistaken"] = [cow for cow in cows if cow.pk in mistakes]
        self.__dict__["withheld"] = withheld_of(cows)
        return [cow for cow in cows if cow.pk in animals]

    def with_withheld(self, animals: set[int]) -> set[int]:
        """Animals (keys), and those that were inside a withdrawal period."""
        return animals | {animal for animal, _ in self.inside.withheld}

    @cached_property
    def withheld(self) -> list[tuple[CowIn, CowAt, Period]]:
        """(animal, milking, period) of milk that came from inside a withdrawal period."""
        if "animals" in self.__dict__:
            # Told already, all of them.
            return withheld_of(self.animals)
        return withheld_of(told(self.inside, self.with_withheld(set())))

    @property
    def late_feeds(self) -> list[FeedIn]:
        """Loads fed after their deadline."""
        return [feed for feed in self.feeds if feed.hours_late]


def withheld_of(cows: Iterable[CowIn]) -> list[tuple[CowIn, CowAt, Period]]:
    """Of animals, the milkings inside a withdrawal period, with each of the periods."""
    return [(cow, at, period) for cow in cows for at in cow.milkings for period in at.withheld]


def send_ahead(reader: Reader, *, vat: int | None, lot: int | None) -> None:
    """Ask for the first of ``read_back`` already: the wheels of a vat, and the lots."""
    if vat:
        reader.ahead(WHEELS_OF_VATS, vats=[vat])
    reader.ahead(LOTS_ABOVE, lots=[lot] if lot else [], vat=vat)


@dataclass(frozen=True)
class Top:
    """What a thing is made of by itself: its vat's wheels and its lots with those above them.

    ``weights``: by lot (key), kg of its own milk in the thing.
    """

    wheels: list[WheelIn]
    rows: list[LotRow]
    weights: dict[int, float]

    @property
    def in_vat(self) -> set[int]:
        """The lots (keys) the vat was filled from."""
        return {row.pk for row in self.rows if row.in_vat is not None}

    @property
    def parents(self) -> dict[int, list[int]]:
        """By lot (key), those carried over into it."""
        return {row.pk: [parent for parent, _ in row.edges] for row in self.rows if row.edges}


def read_top(
    reader: Reader, *, vat: int | None = None, lot: int | None = None, wheel: int | None = None
) -> Top:
    """The lots of a vat (or of one wheel of it), or a lot, with everything carried over."""
    wheels = wheels_of(reader, [vat]) if vat else []
    fraction = wheel_fraction(wheels, wheel) if wheel else 1.0
    rows = reader.lots_above([lot] if lot else [], vat)
    if lot:
        return Top(wheels, rows, kg_of_mixture(rows, lot))
    return Top(wheels, rows, {row.pk: (row.in_vat or 0.0) * fraction for row in rows})


def read_back(reader: Reader, top: Top, before: timedelta) -> Found:
    """Everything above a thing; ``before``: how long before a milking feed counts."""
    rows, weights = top.rows, top.weights
    reader.ahead(MILKINGS_OF_LOTS, lots=[row.pk for row in rows])
    reader.ahead(METERED, **metered_asked(factors(rows, weights)))
    if rows:
        reader.ahead(IN_TANKS, **tanks_asked(rows))
    parts, milkings = milkings_of(reader, rows)
    if milkings:
        trace_inside.send_ahead(reader, parts, milkings)
        reader.ahead(FEEDINGS_BEFORE, **feedings_asked(milkings, before))
        reader.ahead(OPEN_LOAD_FED, **open_asked(milkings.values(), before))
    name_lots(parts, milkings, rows, weights)
    mistakes = mistakes_in(reader, rows)
    who = inside(reader, rows, parts, milkings, weights, mistakes)
    return Found(
        kg=sum(weights.values()),
        lots=lots_in(rows, weights),
        milkings=sorted(milkings.values(), key=lambda milking: milking.started_at),
        inside=who,
        feeds=feeds_before(reader, milkings, before),
        wheels=top.wheels,
    )


def wheels_of(reader: Reader, vats: Iterable[int]) -> list[WheelIn]:
    """The standing wheels of vats."""
    return [WheelIn(*row) for row in reader.rows(WHEELS_OF_VATS, vats=sorted(vats))]


def fractions(wheels: Sequence[WheelIn]) -> list[float]:
    """Each wheel's part of its vat's milk: by weight when all were weighed, else equal parts."""
    weights = [wheel.kg for wheel in wheels]
    known = [kg for kg in weights if kg is not None]
    whole = sum(known)
    if whole > 0 and len(known) == len(weights):
        return [kg / whole for kg in known]
    return [1 / max(len(wheels), 1)] * len(wheels)


def wheel_fraction(wheels: Sequence[WheelIn], wheel: int) -> float:
    """One wheel's part of its vat's milk; an equal one when the vat does not have it."""
    by_wheel = zip(wheels, fractions(wheels), strict=True)
    found = {one.pk: fraction for one, fraction in by_wheel}
    return found.get(wheel, 1 / max(len(found), 1))


def kg_of_mixture(rows: Sequence[LotRow], lot: int) -> dict[int, float]:
    """kg of each lot's own milk in the whole mixture of one lot."""
    own: dict[Hashable, int] = {row.pk: round(row.kg * 1000) for row in rows}
    edges: dict[Hashable, dict[Hashable, int]] = {
        row.pk: {parent: round(kg * 1000) for parent, kg in row.edges} for row in rows if row.edges
    }
    shares = mixtures(own, edges)[lot]
    whole = next(row.whole for row in rows if row.pk == lot)
    total = sum(shares.values()) or 1
    return {row.pk: whole * (shares.get(row.pk, 0) / total) for row in rows}


def lots_in(rows: Sequence[LotRow], weights: dict[int, float]) -> list[LotIn]:
    """The lots with their kg in the thing, in order of opening; void ones are left out."""
    codes = {row.pk: row.code for row in rows}
    total = sum(weights.values())
    into: dict[int, list[str]] = defaultdict(list)
    for row in rows:
        for parent, _ in row.edges:
            into[parent].append(row.code)
    return [
        LotIn(
            row=row,
            kg=weights[row.pk],
            share=weights[row.pk] / total if total else 0.0,
            parents=[(codes[parent], kg) for parent, kg in row.edges],
            carried_into=into[row.pk],
        )
        for row in rows
        if not row.void
    ]


def milkings_of(reader: Reader, rows: Sequence[LotRow]) -> tuple[list[Part], dict[int, MilkingIn]]:
    """The parts of the lots, and the milkings they are of."""
    parts: list[Part] = []
    milkings: dict[int, MilkingIn] = {}
    for lot, kg, by_row, *milking in reader.rows(MILKINGS_OF_LOTS, lots=[row.pk for row in rows]):
        found = MilkingIn(*milking)
        milkings.setdefault(found.pk, found)
        parts.append(Part(lot, found.pk, kg, by_row))
    return parts, milkings


def name_lots(
    parts: Iterable[Part],
    milkings: dict[int, MilkingIn],
    rows: Iterable[LotRow],
    weights: dict[int, float],
) -> None:
    """Tell each milking the lots it is in and its kg in the thing."""
    lots = {row.pk: row for row in rows}
    for part in parts:
        lot = lots[part.lot]
        kg = part.kg * weights[lot.pk] / lot.kg if lot.kg else None
        milkings[part.milking].lots.append((lot.code, kg))
