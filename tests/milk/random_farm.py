"""Random farms for the trace: a line of actions, written as facts and replayed in plain Python.

The reference knows nothing of lots: a tank is kilos by origin in one mixture, a draw takes of every
origin in proportion, and whoever was in a tank since its last wash is in whatever is drawn from it.
The same time line is a graph for networkx: states of tanks, vats and trays, one after the other.
"""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import networkx as nx
from hypothesis import strategies as st

from herd.models import Animal, Group
from milk.models import CowMilking, Delivery, Milking, Tank, TankEvent, Tray, Vat, VatFill
from milk.services.cow_rows import CowRow, insert_rows
from milk.services.lots import rebuild_all
from tests.factories.herd import make, make_animal, make_group, put_in_group
from tests.factories.milk import EVENING, make_buyer, make_tank, plain

TANKS, VATS = st.integers(0, 1), st.integers(0, 2)
KILOS = st.integers(1, 90)
ACTIONS = st.lists(
    st.one_of(
        st.tuples(st.just("meter"), TANKS, st.integers(0, 1), KILOS, KILOS),
        st.tuples(st.just("unweighed"), TANKS, st.integers(0, 1), KILOS, KILOS),
        st.tuples(st.just("group"), TANKS, KILOS, st.booleans()),
        st.tuples(st.just("vat"), TANKS, VATS, KILOS),
        st.tuples(st.just("vat"), TANKS, VATS, KILOS),
        st.tuples(st.just("tray"), TANKS, KILOS, st.booleans()),
        st.tuples(st.just("pour"), st.integers(0, 3), VATS),
        st.tuples(st.just("out"), TANKS, KILOS),
        st.tuples(st.just("dumped"), TANKS, KILOS),
        st.tuples(st.just("moved"), TANKS, KILOS),
        st.tuples(st.just("in"), TANKS, KILOS),
        st.tuples(st.just("washed"), TANKS),
    ),
    min_size=1,
    max_size=16,
)
Mass = dict[Any, float]


@dataclass
class Content:
    """A tank or a tray: the mixture by origin (parts of 1), and the kg the book says are left."""

    mix: Mass = field(default_factory=dict)
    left: float = 0.0

    def pour_in(self, mass: Mass) -> None:
        total = self.left + sum(mass.values())
        kilos = {origin: part * self.left for origin, part in self.mix.items()}
        for origin, kg in mass.items():
            kilos[origin] = kilos.get(origin, 0.0) + kg
        self.mix = {origin: kg / total if total else 0.0 for origin, kg in kilos.items()}
        self.left = total

    def take(self, kg: float) -> Mass:
        """What a draw of ``kg`` takes of every origin; nothing when nothing was ever in it."""
        self.left = max(self.left - kg, 0.0)
        return {origin: part * kg for origin, part in self.mix.items()}


@dataclass
class Farm:
    """The facts of a farm, and what the reference says is in every vat.

    Origins are ("animal" or "delivery", key). ``graph`` has the same as nodes.
    """

    tanks: list[Tank]
    metered: list[Group]
    plain: Group
    cows: dict[int, list[Animal]]
    contents: list[Content] = field(default_factory=lambda: [Content(), Content()])
    states: list[int] = field(default_factory=lambda: [0, 0])
    vats: dict[int, Vat] = field(default_factory=dict)
    in_vats: dict[int, Mass] = field(default_factory=lambda: defaultdict(dict))
    trays: list[tuple[Tray, Content, float]] = field(default_factory=list)
    graph: Any = field(default_factory=nx.DiGraph)
    at: datetime = EVENING

    def play(self, actions: list[Any]) -> "Farm":
        """Write every action as a fact and replay it, minutes apart; then compute the lots."""
        for action in actions:
            self.at += timedelta(minutes=5)
            getattr(self, f"do_{action[0]}")(*action[1:])
        rebuild_all()
        return self

    def write(self, model: Any, **fields: Any) -> Any:
        return plain(model, self.at, None, **fields)

    def step(self, tank: int) -> tuple[str, int, int]:
        """The tank's next state, over the one before."""
        before = ("tank", tank, self.states[tank])
        self.states[tank] += 1
        after = ("tank", tank, self.states[tank])
        self.graph.add_edge(before, after)
        return after

    def come_in(self, tank: int, mass: Mass) -> None:
        self.contents[tank].pour_in(mass)
        after = self.step(tank)
        for origin in mass:
            self.graph.add_edge(origin, after)

    def draw(self, tank: int, kg: float, into: Any) -> Mass:
        self.graph.add_edge(("tank", tank, self.states[tank]), into)
        return self.contents[tank].take(kg)

    def milking(self, tank: int, group: Group, kg: float, metered: bool) -> Milking:
        return self.write(  # type: ignore[no-any-return]
            Milking,
            group=group,
            tank=self.tanks[tank],
            day=self.at.date(),
            session="E",
            kg=Decimal(kg),
            metered=metered,
        )

    def do_meter(self, tank: int, group: int, first: int, second: int) -> None:
        milking = self.milking(tank, self.metered[group], first + second, True)
        one, two = self.cows[group]
        insert_rows(milking, [CowRow(animal=one, grams=first * 1000), row(two, second)])
        self.come_in(tank, {cow(one): float(first), cow(two): float(second)})

    def do_unweighed(self, tank: int, group: int, first: int, rest: int) -> None:
        milking = self.milking(tank, self.metered[group], first + rest, True)
        one, two = self.cows[group]
        insert_rows(milking, [row(one, first), CowRow(animal=two)])
        self.come_in(tank, {cow(one): float(first), cow(two): float(rest)})

    def do_group(self, tank: int, kg: int, one_out: bool) -> None:
        milking = self.milking(tank, self.plain, kg, False)
        animals = self.cows[2]
        if one_out:
            out = CowRow(animal=animals[0], goes=CowMilking.Goes.KEPT_OUT)
            insert_rows(milking, [out])
        inside = animals[1:] if one_out else animals
        self.come_in(tank, {cow(animal): kg / len(inside) for animal in inside})

    def do_in(self, tank: int, kg: int) -> None:
        delivery = self.write(
            Delivery, way="in", holding=make_buyer(), tank=self.tanks[tank], kg=Decimal(kg)
        )
        self.come_in(tank, {("delivery", delivery.pk): float(kg)})

    def vat(self, number: int) -> Vat:
        if number not in self.vats:
            self.vats[number] = self.write(Vat, day=self.at.date(), number=number + 1)
        return self.vats[number]

    def fill(self, number: int, mass: Mass) -> None:
        inside = self.in_vats[number]
        for origin, kg in mass.items():
            inside[origin] = inside.get(origin, 0.0) + kg

    def do_vat(self, tank: int, number: int, kg: int) -> None:
        self.write(VatFill, vat=self.vat(number), tank=self.tanks[tank], kg=Decimal(kg))
        self.fill(number, self.draw(tank, kg, ("vat", number)))

    def do_tray(self, tank: int, kg: int, cream: bool) -> None:
        off = kg / 10 if cream else 0.0
        tray = self.write(
            Tray,
            number=len(self.trays) + 1,
            tank=self.tanks[tank],
            kg=Decimal(kg),
            cream_kg=Decimal(str(off)) if cream else None,
        )
        content = Content()
        content.pour_in(self.draw(tank, kg, ("tray", len(self.trays))))
        self.trays.append((tray, content, kg - off))

    def do_pour(self, which: int, number: int) -> None:
        """Half of what a tray has without its cream; a tray that is not there is not poured."""
        if which >= len(self.trays):
            return
        tray, content, rest = self.trays[which]
        kg = Decimal(str(round(rest / 2, 3)))
        self.write(VatFill, vat=self.vat(number), tray=tray, kg=kg)
        self.graph.add_edge(("tray", which), ("vat", number))
        self.fill(number, content.take(float(kg)))

    def do_out(self, tank: int, kg: int) -> None:
        self.write(Delivery, way="out", holding=make_buyer(), tank=self.tanks[tank], kg=Decimal(kg))
        self.draw(tank, kg, ("out", self.at))

    def do_dumped(self, tank: int, kg: int) -> None:
        self.write(TankEvent, tank=self.tanks[tank], what="dumped", kg=Decimal(kg))
        self.draw(tank, kg, ("out", self.at))

    def do_moved(self, tank: int, kg: int) -> None:
        other = 1 - tank
        self.write(
            TankEvent,
            tank=self.tanks[tank],
            what="moved",
            kg=Decimal(kg),
            to_tank=self.tanks[other],
        )
        pipe = ("pipe", self.at)
        # Out of a tank that never held any, it is milk of which nobody knows where it came from.
        moved = self.draw(tank, kg, pipe) or {("unknown", self.at): float(kg)}
        self.contents[other].pour_in(moved)
        self.graph.add_edge(pipe, self.step(other))

    def do_washed(self, tank: int) -> None:
        self.write(TankEvent, tank=self.tanks[tank], what="washed")
        self.contents[tank] = Content()
        # A new state that nothing of the old one flows into.
        self.states[tank] += 1


def cow(animal: Animal) -> tuple[str, int]:
    """An animal as an origin."""
    return ("animal", animal.pk)


def row(animal: Animal, kg: int) -> CowRow:
    return CowRow(animal=animal, grams=kg * 1000)


def make_farm() -> Farm:
    """Two tanks, two groups with meters and one without, two or three animals each."""
    groups = [make_group(milked=False) for _ in range(3)]
    cows: dict[int, list[Animal]] = {}
    for number, group in enumerate(groups):
        cows[number] = [make_animal() for _ in range(3 if number == 2 else 2)]
        for animal in cows[number]:
            put_in_group(animal, group)
    return Farm([make_tank(), make_tank()], groups[:2], groups[2], cows)


__all__ = ["ACTIONS", "Farm", "make", "make_farm"]
