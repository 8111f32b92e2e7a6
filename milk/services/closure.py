"""Which lots' own milk is in which vats: VatLot, computed from fills, draws and what was carried.

One way through for everything that changes a vat's milk; wiped and computed again it is the same.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Q

from config.asking import ask
from milk.below import and_above
from milk.models import LotDraw, LotParent, MilkLot, VatFill, VatLot
from milk.services.pairs import write_pairs
from milk.services.timeline import grams, kilos
from milk.shares import mixtures, share_out

# Vats that were filled, struck fills too, from these lots or from those below them; each step by
# index, for the planner guesses the size of a recursion badly.
VATS_BELOW = """
    WITH RECURSIVE down (lot_id) AS (
        SELECT unnest(%(lots)s::int4[])
        UNION
        SELECT edge.lot_id FROM down CROSS JOIN LATERAL (
            SELECT p.lot_id FROM milk_lotparent AS p WHERE p.parent_id = down.lot_id OFFSET 0
        ) AS edge
    ), drawn AS (
        SELECT draw.vat_fill_id, draw.tray_id FROM down CROSS JOIN LATERAL (
            SELECT d.vat_fill_id, d.tray_id FROM milk_lotdraw AS d
            WHERE d.lot_id = down.lot_id OFFSET 0
        ) AS draw
    )
    SELECT fill.vat_id FROM drawn CROSS JOIN LATERAL (
        SELECT f.vat_id FROM milk_vatfill AS f WHERE f.id = drawn.vat_fill_id OFFSET 0
    ) AS fill
    UNION
    SELECT fill.vat_id FROM drawn CROSS JOIN LATERAL (
        SELECT f.vat_id FROM milk_vatfill AS f WHERE f.tray_id = drawn.tray_id OFFSET 0
    ) AS fill
"""
Draws = Mapping[int, list[tuple[int, int]]]


@dataclass
class Poured:
    """What a vat holds: weight by origin lot in parts of shares.WHOLE, and known grams."""

    weights: dict[int, int] = field(default_factory=lambda: defaultdict(int))
    grams: int = 0

    def add(self, mixture: Mapping[int, int], known: int, per: int = 1) -> None:
        for origin, weight in mixture.items():
            self.weights[origin] += weight * known // per
        self.grams += known


def vats_below(lots: Collection[int]) -> set[int]:
    """The vats (keys) that hold milk of these lots or of lots they were carried into."""
    if not lots:
        return set()
    return {vat for (vat,) in ask(VATS_BELOW, {"lots": list(lots)})}


def vats_of(fills: Collection[int], trays: Collection[int]) -> set[int]:
    """The vats (keys) of fills, and of the fills from these trays, struck ones too."""
    if not fills and not trays:
        return set()
    named = VatFill.objects.filter(Q(pk__in=fills) | Q(tray__in=trays))
    return set(named.values_list("vat", flat=True))


def rebuild_vats(vats: Collection[int]) -> None:
    """Compute VatLot of these vats (keys) again and write the difference."""
    if not vats:
        return
    poured = pour(sorted(vats))
    old = {
        (row.vat_id, row.lot_id): row.kg for row in VatLot.objects.filter(vat_id__in=sorted(vats))
    }
    new = {
        (vat, lot): kilos(share)
        for vat, content in poured.items()
        for lot, share in share_out(content.grams, content.weights).items()
    }
    write_pairs("milk_vatlot", "vat_id", "lot_id", old, new)


def pour(vats: list[int]) -> dict[int, Poured]:
    """By vat, what was filled into it by origin lot, in the order in which the lots opened."""
    fills = list(VatFill.objects.standing().filter(vat_id__in=vats))
    from_tank = draws_by("vat_fill", [fill.pk for fill in fills if fill.tray_id is None])
    from_tray = draws_by("tray", {fill.tray_id for fill in fills if fill.tray_id})
    drawn = {lot for draws in (from_tank, from_tray) for rows in draws.values() for lot, _ in rows}
    mixture_of, order = mixtures_of(drawn)
    found: dict[int, Poured] = defaultdict(Poured)
    for fill in fills:
        vat = found[fill.vat_id]
        if fill.tray_id is None:
            for lot, known in from_tank.get(fill.pk, []):
                vat.add(mixture_of[lot], known)
        elif tray := from_tray.get(fill.tray_id):
            vat.add(*of_tray(tray, mixture_of, grams(fill.kg)))
    for vat in found.values():
        settle(vat, order)
    return dict(found)


def of_tray(
    tray: list[tuple[int, int]], mixture_of: Mapping[int, Mapping[int, int]], taken: int
) -> tuple[dict[int, int], int, int]:
    """A tray's mixture (weights for its whole content), the grams taken, and the content."""
    weights: dict[int, int] = defaultdict(int)
    for lot, known in tray:
        for origin, weight in mixture_of[lot].items():
            weights[origin] += weight * known
    whole = sum(known for _, known in tray)
    if not whole:
        weights = defaultdict(int, dict.fromkeys(weights, 1))
    return weights, taken, max(whole, 1)


def settle(vat: Poured, order: Mapping[int, Any]) -> None:
    """Put a vat's lots in order; milk without any weight is that of the first."""
    vat.weights = {lot: vat.weights[lot] for lot in sorted(vat.weights, key=order.__getitem__)}
    if vat.weights and not any(vat.weights.values()):
        vat.weights[next(iter(vat.weights))] = 1


def draws_by(column: str, keys: Collection[int]) -> dict[int, list[tuple[int, int]]]:
    """By fill or tray, the lots (keys) it was drawn from with their grams."""
    found: dict[int, list[tuple[int, int]]] = defaultdict(list)
    rows = LotDraw.objects.filter(**{f"{column}__in": sorted(keys)})
    for key, lot, kg in rows.values_list(column, "lot", "kg"):
        found[key].append((lot, grams(kg)))
    return found


def mixtures_of(lots: Collection[int]) -> tuple[dict[int, dict[int, int]], dict[int, Any]]:
    """By lot, the shares of origin lots in it (parts of shares.WHOLE); and an order of all lots."""
    if not lots:
        return {}, {}
    rows = MilkLot.objects.filter(pk__in=and_above(lots))
    own, order = {}, {}
    for lot in rows.only("kg", "opened_at", "tank_id"):
        own[lot.pk] = grams(lot.kg)
        order[lot.pk] = (lot.opened_at, lot.tank_id, lot.pk)
    parents: dict[int, dict[int, int]] = defaultdict(dict)
    for edge in LotParent.objects.filter(lot_id__in=own):
        parents[edge.lot_id][edge.parent_id] = grams(edge.kg)
    return mixtures(own, parents), order
