"""What stands above wheels, vats and lots that a hold may name, read before the holds are.

Wheels stand below their vat, vats below the lots they were filled from, lots below those carried
over into them. Apart from ``milk.held`` because a trace asks for it ahead.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from config.asking import ahead, ask
from milk.below import reached
from milk.held_sql import EDGES_ABOVE_VATS, LOTS_OF_VATS, NAMED, VATS_OF_WHEELS


@dataclass(frozen=True)
class Ask:
    """What is asked about, with everything above it that a hold may name."""

    lots: dict[int, set[int]]
    vats: dict[int, set[int]]
    wheels: dict[int, int]


@dataclass(frozen=True)
class Made:
    """What whoever asks has read already: wheels (keys) by their vat, vats by their lots.

    ``parents``: by lot, what was carried over into it, of every lot above any of these.
    """

    wheels: Mapping[int, int]
    vats: Mapping[int, Collection[int]]
    parents: Mapping[int, Collection[int]] | None = None


def ask_about(
    lot_ids: set[int], vat_ids: set[int], wheel_ids: set[int], made: Made | None = None
) -> Ask:
    """Wheels to vats, vats to lots, lots to all lots carried over into them."""
    known_wheels, known_vats = (made.wheels, made.vats) if made else ({}, {})
    wheels = {wheel: known_wheels[wheel] for wheel in wheel_ids if wheel in known_wheels}
    if unknown := wheel_ids - set(wheels):
        wheels |= dict(ask(VATS_OF_WHEELS, {"wheels": sorted(unknown)}))
    vats: dict[int, set[int]] = {
        vat: set(known_vats.get(vat, ())) for vat in vat_ids | set(wheels.values())
    }
    parents = made.parents if made else None
    to_ask = sorted(set(vats) - set(known_vats))
    if parents is None:
        parents = edges_above(lot_ids | in_any(vats), to_ask)
    if to_ask:
        for vat, lot in ask(LOTS_OF_VATS, {"vats": to_ask}):
            vats[vat].add(lot)
    lots = lot_ids | in_any(vats)
    return Ask(lots={lot: reached(lot, parents) for lot in lots}, vats=vats, wheels=wheels)


def in_any(vats: Mapping[int, Collection[int]]) -> set[int]:
    return {lot for lots in vats.values() for lot in lots}


def edges_above(lots: Collection[int], vats: Collection[int]) -> dict[int, list[int]]:
    """By lot, what was carried over into it, of every lot above these or above those in vats."""
    edges: dict[int, list[int]] = defaultdict(list)
    if lots or vats:
        for lot, parent in ask(EDGES_ABOVE_VATS, edges_asked(lots, vats)):
            edges[lot].append(parent)
    return edges


def edges_asked(lots: Collection[int], vats: Collection[int]) -> dict[str, list[int]]:
    return {"lots": sorted(lots), "vats": sorted(vats)}


def send_ahead(lots: Collection[int], vats: Collection[int]) -> None:
    """Ask for what ``open_holds`` wants of vats already, within ``in_a_row``."""
    ahead(LOTS_OF_VATS, {"vats": sorted(vats)})
    ahead(EDGES_ABOVE_VATS, edges_asked(lots, vats))


def send_named_ahead(
    *, lot_ids: Iterable[int], vat_ids: Iterable[int], wheel_ids: Iterable[int], made: Made
) -> None:
    """Ask for what ``open_holds`` wants of the same already, within ``in_a_row``."""
    asked = ask_about(set(lot_ids), set(vat_ids), set(wheel_ids), made)
    ahead(NAMED, named_asked(asked))


def named_asked(asked: Ask) -> dict[str, list[int]]:
    """What NAMED is asked."""
    return {
        "lots": sorted({lot for above in asked.lots.values() for lot in above}),
        "vats": sorted(asked.vats),
        "wheels": sorted(asked.wheels),
    }
