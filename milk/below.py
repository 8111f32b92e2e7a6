"""What lies above and below lots: lots they carry, lots that carry them, trays, vats and wheels.

Set-based reads from explicit lists of lots; a chain of carried-over milk, however long, is followed
in one statement: a tank that nobody washes makes a chain of years.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.contrib.postgres.aggregates import ArrayAgg
from django.db import connection
from django.db.models import Exists, F, Max, OuterRef, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from config.asking import ask
from config.language import in_estate_language
from config.once_a_page import once_a_page
from config.templatetags.sheet import amount
from milk.models import LotDraw, MilkLot, Vat, VatFill, VatLot, Wheel
from milk.runs import names_said, run_said, runs
from milk.whey import cans_with

# A vat whose lift nobody wrote down is cheese after so long all the same.
LONGEST_IN_THE_VAT = timedelta(hours=12)
# Evening milk stands in trays overnight; a tray older than this has been poured or thrown away.
LONGEST_IN_THE_TRAY = timedelta(hours=36)

# LATERAL with OFFSET keeps the planner on the index: it guesses the size of a recursion badly.
EDGES_ABOVE = """
    WITH RECURSIVE up(lot_id, parent_id) AS (
        SELECT lot_id, parent_id FROM milk_lotparent WHERE lot_id = ANY(%(lots)s::int[])
        UNION
        SELECT edge.lot_id, edge.parent_id FROM up CROSS JOIN LATERAL (
            SELECT p.lot_id, p.parent_id FROM milk_lotparent AS p
            WHERE p.lot_id = up.parent_id OFFSET 0
        ) AS edge
    )
    SELECT lot_id, parent_id FROM up
"""
DESCENDANTS = """
    WITH RECURSIVE down(lot_id) AS (
        SELECT unnest(%s::int[])
        UNION
        SELECT edge.lot_id FROM down CROSS JOIN LATERAL (
            SELECT p.lot_id FROM milk_lotparent AS p WHERE p.parent_id = down.lot_id OFFSET 0
        ) AS edge
    )
    SELECT lot_id FROM down
"""


@dataclass(frozen=True)
class Below:
    """Everything that has milk of some lots in it, as it is known now."""

    lots: list[MilkLot]
    vats: list[tuple[Vat, Decimal]]
    wheels: list[Wheel]
    second_ring: list[Vat]

    @in_estate_language()
    def as_tree(self) -> dict[str, Any]:
        """The same as it is frozen in a hold: numbers, names and kg."""
        return {
            "lots": [
                {"id": str(lot.uuid), "name": str(lot), "kg": str(lot.kg)} for lot in self.lots
            ],
            "vats": [{"id": str(v.uuid), "name": str(v), "kg": str(kg)} for v, kg in self.vats],
            "wheels": [
                {"id": str(w.uuid), "name": w.plate, "vat": str(w.vat)} for w in self.wheels
            ],
            "second_ring": [{"id": str(vat.uuid), "name": str(vat)} for vat in self.second_ring],
        }


@dataclass(frozen=True)
class Catchable:
    """Where milk can still be stopped: (name, kg) of tanks and trays, and vats not yet lifted."""

    tanks: list[tuple[str, Decimal]]
    trays: list[tuple[str, Decimal]]
    vats: list[Vat]

    def __bool__(self) -> bool:
        return bool(self.tanks or self.trays or self.vats)

    @property
    def in_trays(self) -> list[tuple[str, Decimal]]:
        """Trays that count up taken together, with the kg in all of them."""
        kilos = dict(self.trays)
        return [
            (run_said(run), sum((kilos[name] for name in run), Decimal(0))) for run in runs(kilos)
        ]

    @property
    def words(self) -> str:
        """One sentence; empty when nothing can be stopped any more."""
        parts = [f"{name} {amount(round(kg))} kg" for name, kg in [*self.tanks, *self.in_trays]]
        if self.vats:
            parts.append(_("not lifted: ") + names_said(str(vat) for vat in self.vats))
        return "; ".join(parts)


def ancestors(lot_ids: Iterable[int]) -> dict[int, set[int]]:
    """For every lot, itself and all lots whose milk was carried over into it."""
    lots = frozenset(lot_ids)
    edges = edges_above(lots)
    return {lot: reached(lot, edges) for lot in lots}


def and_above(lot_ids: Iterable[int]) -> set[int]:
    """These lots and all lots whose milk was carried over into any of them."""
    lots = frozenset(lot_ids)
    edges = edges_above(lots)
    return {*lots, *edges, *(parent for parents in edges.values() for parent in parents)}


@once_a_page
def edges_above(lots: frozenset[int]) -> dict[int, set[int]]:
    """The parents of these lots, of their parents, and so on."""
    edges: dict[int, set[int]] = {}
    if lots:
        for lot, parent in ask(EDGES_ABOVE, {"lots": sorted(lots)}):
            edges.setdefault(lot, set()).add(parent)
    return edges


def reached(start: int, edges: Mapping[int, Collection[int]]) -> set[int]:
    """All that can be reached from ``start``, itself included."""
    seen, open_ = {start}, [start]
    while open_:
        for further in edges.get(open_.pop(), ()):
            if further not in seen:
                seen.add(further)
                open_.append(further)
    return seen


def descendants(lot_ids: Iterable[int]) -> set[int]:
    """These lots and all lots that carry milk of theirs."""
    return set(carried_into(frozenset(lot_ids)))


@once_a_page
def carried_into(lots: frozenset[int]) -> frozenset[int]:
    """These lots and all that carry milk of theirs, as they are read once for a page."""
    if not lots:
        return lots
    with connection.cursor() as cursor:
        cursor.execute(DESCENDANTS, [sorted(lots)])
        return frozenset(lot for (lot,) in cursor.fetchall())


def below(
    lot_ids: Iterable[int], *, vat_ids: Collection[int] = (), wheel_ids: Collection[int] = ()
) -> Below:
    """Everything below lots, vats and wheels. Carried-over milk is in at any share.

    ``second_ring``: vats started with whey of these vats; shown apart, not held with them.
    """
    return read_below(frozenset(lot_ids), frozenset(vat_ids), frozenset(wheel_ids))


@once_a_page
def read_below(
    of_lots: frozenset[int], vat_ids: frozenset[int], wheel_ids: frozenset[int]
) -> Below:
    """The same, read once for a page."""
    lots = sorted(carried_into(of_lots))
    weights = dict(
        VatLot.objects.filter(lot_id__in=lots, vat__struck_at=None)
        .values_list("vat_id")
        .annotate(kg=Sum("kg"))
    )
    weights.update({vat: weights.get(vat, Decimal(0)) for vat in vat_ids})
    vats = Vat.objects.filter(pk__in=sorted(weights)).order_by("day", "round", "number")
    wheels = Wheel.objects.standing().filter(vat__in=sorted(weights))
    wheels |= Wheel.objects.standing().filter(pk__in=sorted(wheel_ids))
    ring = (
        Vat.objects.standing()
        .filter(starter_can__in=cans_with(weights))
        .exclude(pk__in=sorted(weights))
    )
    return Below(
        lots=list(MilkLot.objects.filter(pk__in=lots, void=False).order_by("opened_at", "id")),
        vats=[(vat, weights[vat.pk]) for vat in vats],
        wheels=list(wheels.select_related("vat").order_by("plate")),
        second_ring=list(ring.order_by("day", "round", "number")),
    )


def still_catchable(lot_ids: Iterable[int], at: datetime) -> Catchable:
    """Where milk of these lots can still be stopped at ``at``: in tanks, in trays, in the vat."""
    return read_catchable(frozenset(lot_ids), at)


@once_a_page
def read_catchable(of_lots: frozenset[int], at: datetime) -> Catchable:
    """The same, read once for a page."""
    lots = sorted(carried_into(of_lots))
    tanks: dict[str, Decimal] = {}
    for name, left in (
        left_in_tanks(lots, at).order_by("tank__name", "id").values_list("tank__name", "left")
    ):
        if left > 0:
            tank = _("tank {name}").format(name=name)
            tanks[tank] = tanks.get(tank, Decimal(0)) + left
    trays = left_in_trays(lots, at).values_list("number", "left")
    return Catchable(
        tanks=list(tanks.items()),
        trays=[(_("tray {number}").format(number=number), kg) for number, kg in trays if kg > 0],
        vats=list(not_lifted(lots, at).distinct().order_by("day", "round", "number")),
    )


def left_in_tanks(lots: Collection[int], at: datetime) -> QuerySet[Any, Any]:
    """Those of these lots that stand in a tank at a moment, with the kg ``left`` of each."""
    standing = MilkLot.objects.filter(pk__in=lots, void=False, opened_at__lte=at)
    passed_on = Coalesce(Sum("left_to__kg"), Decimal(0))
    return standing.exclude(ended_at__lte=at).annotate(
        left=F("kg") + F("carried_kg") - F("drawn_kg") - passed_on
    )


def not_lifted(lots: Collection[int], at: datetime) -> QuerySet[Vat, Any]:
    """Vats with milk of these lots whose curd nobody has lifted yet."""
    return (
        Vat.objects.standing()
        .filter(lots__lot__in=lots, happened_at__gt=at - LONGEST_IN_THE_VAT, happened_at__lte=at)
        .exclude(lifted_at__lte=at)
        .exclude(Exists(Wheel.objects.standing().filter(vat=OuterRef("pk"))))
    )


def left_in_trays(lots: Collection[int], at: datetime) -> QuerySet[Any, Any]:
    """Trays with milk of these lots: ``number``, the kg ``left`` in each, and ``of_lots``."""
    filled = LotDraw.objects.filter(
        lot_id__in=lots, tray__isnull=False, tray__struck_at=None, at__gt=at - LONGEST_IN_THE_TRAY
    )
    poured = (
        VatFill.objects.standing()
        .filter(tray=OuterRef("tray"))
        .order_by()
        .values("tray")
        .values_list(Sum("kg"))
    )
    trays = filled.values("tray_id").annotate(
        number=Max("tray__number"),
        of_lots=ArrayAgg("lot_id", distinct=True),
        left=Max("tray__kg")
        - Coalesce(Max("tray__cream_kg"), Decimal(0))
        - Coalesce(Max(Subquery(poured)), Decimal(0)),
    )
    return trays.order_by("number", "tray_id")
