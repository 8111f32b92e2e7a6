"""What many holds keep back, read in a fixed number of statements however many they are.

``milk.hold_cost.cost_of`` reads the same for one hold by the tree below it; a test compares them.
"""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from functools import cached_property

from django.db.models import Q

from milk.below import carried_into, left_in_tanks, left_in_trays, not_lifted, reached
from milk.models import Hold, HoldItem, LotParent, MilkLot, Vat, VatLot, Wheel, WrongCow


@dataclass(frozen=True, kw_only=True)
class Kept:
    """What some holds keep back: kg that are still milk or no wheels yet, and how many wheels."""

    milk_kg: Decimal
    wheels: int


class HeldTogether:
    """The lots, vats and wheels of open holds, and all below them, by key."""

    def __init__(self, holds: Sequence[Hold], at: datetime) -> None:
        self.holds, self.at = holds, at
        self.lots = self.named_lots()
        self.everything = carried_into(frozenset().union(*self.lots.values()))
        self.vats = self.named_vats()
        self.read_vats()
        self.read_milk()

    @cached_property
    def edges(self) -> dict[int, set[int]]:
        """By lot, the lots its milk was carried over into; read when holds are told apart."""
        return edges_among(self.everything)

    def named_lots(self) -> dict[int, set[int]]:
        """By hold, the lots it names and those that stood in the tank it names since."""
        found: dict[int, set[int]] = defaultdict(set)
        items = HoldItem.objects.filter(hold__in=self.holds, gone_at=None)
        for key, lot in items.values_list("hold_id", "lot_id"):
            found[key].add(lot)
        tanks = {hold.tank_id for hold in self.holds if hold.tank_id is not None}
        if tanks:
            first = min(hold.happened_at for hold in self.holds if hold.tank_id is not None)
            stood = MilkLot.objects.valid().filter(tank__in=tanks, opened_at__lte=self.at)
            stood = stood.exclude(ended_at__lte=first)
            for lot, tank, ended in stood.values_list("pk", "tank_id", "ended_at"):
                for hold in self.holds:
                    if hold.tank_id == tank and (ended is None or ended > hold.happened_at):
                        found[hold.pk].add(lot)
        return found

    def named_vats(self) -> dict[int, set[int]]:
        """By hold, the vat it names and those started with the can it names."""
        found: dict[int, set[int]] = defaultdict(set)
        for hold in self.holds:
            if hold.vat_id is not None:
                found[hold.pk].add(hold.vat_id)
        cans = {hold.starter_can_id for hold in self.holds if hold.starter_can_id is not None}
        started = Vat.objects.standing().filter(starter_can__in=cans)
        for vat, can in started.values_list("pk", "starter_can_id") if cans else ():
            for hold in self.holds:
                # A vat that is named counts before its starter, as it does for one hold.
                if hold.starter_can_id == can and hold.vat_id is None:
                    found[hold.pk].add(vat)
        return found

    def read_vats(self) -> None:
        """Which lots are in which vats, all the milk of those vats, and their wheels."""
        named = set().union(*self.vats.values())
        touched = VatLot.objects.filter(lot__in=self.everything, vat__struck_at=None)
        rows = VatLot.objects.filter(Q(vat__in=touched.values("vat")) | Q(vat__in=named))
        self.in_vat: dict[int, set[int]] = defaultdict(set)
        self.filled: dict[int, Decimal] = defaultdict(Decimal)
        for lot, vat, kg in rows.values_list("lot_id", "vat_id", "kg"):
            self.filled[vat] += kg
            if lot in self.everything:
                self.in_vat[lot].add(vat)
        plates = {hold.wheel_id for hold in self.holds if hold.wheel_id is not None}
        wheels = Wheel.objects.standing().filter(
            Q(vat__in={*self.filled, *named}) | Q(pk__in=plates)
        )
        self.wheels: dict[int, set[int]] = defaultdict(set)
        self.vat_of: dict[int, int] = {}
        for wheel, vat in wheels.values_list("pk", "vat_id"):
            self.wheels[vat].add(wheel)
            self.vat_of[wheel] = vat

    def read_milk(self) -> None:
        """What of these lots is still in tanks, trays and vats, and what people read in a tank."""
        tanks = left_in_tanks(self.everything, self.at).values_list("pk", "left")
        self.left = {lot: kg for lot, kg in tanks if kg > 0}
        trays = left_in_trays(self.everything, self.at).values_list("of_lots", "left")
        self.trays = [(set(lots), kg) for lots, kg in trays if kg > 0]
        wrong = WrongCow.objects.standing().filter(hold__in=self.holds, tank_kg__isnull=False)
        self.read: dict[int, Decimal] = {}
        for hold, kg in wrong.order_by("-pk").values_list("hold_id", "tank_kg"):
            self.read[hold] = kg
        unlifted = not_lifted(self.everything, self.at).values_list("pk", flat=True)
        self.unlifted = set(unlifted) if self.read else set()

    def under(self, holds: Collection[Hold]) -> set[int]:
        """The lots some of the holds name, and all that carry milk of theirs."""
        if len(holds) == len(self.holds):
            return set(self.everything)
        named = set().union(*(self.lots.get(hold.pk, set()) for hold in holds))
        return set().union(*(reached(lot, self.edges) for lot in named))

    def of(self, holds: Collection[Hold]) -> Kept:
        """What some of the holds keep back, counted once."""
        lots = self.under(holds)
        vats = set().union(*(self.in_vat.get(lot, set()) for lot in lots))
        vats |= set().union(*(self.vats.get(hold.pk, set()) for hold in holds))
        wheels = set().union(*(self.wheels.get(vat, set()) for vat in vats))
        wheels |= {hold.wheel_id for hold in holds if hold.wheel_id in self.vat_of}
        made = {self.vat_of[wheel] for wheel in wheels}
        milk = sum((self.left.get(lot, Decimal(0)) for lot in lots), Decimal(0))
        milk += sum((kg for of_lots, kg in self.trays if of_lots & lots), Decimal(0))
        if not milk and not vats & self.unlifted:
            # While a milking is on, what somebody read in the tank counts.
            milk += sum((self.read.get(hold.pk, Decimal(0)) for hold in holds), Decimal(0))
        in_vats = sum((self.filled.get(vat, Decimal(0)) for vat in vats - made), Decimal(0))
        return Kept(milk_kg=milk + in_vats, wheels=len(wheels))


def edges_among(lots: Collection[int]) -> dict[int, set[int]]:
    """By lot, the lots that its milk was carried over into."""
    edges: dict[int, set[int]] = defaultdict(set)
    rows = LotParent.objects.filter(parent__in=lots)
    for parent, lot in rows.values_list("parent_id", "lot_id"):
        edges[parent].add(lot)
    return edges
