"""What is asked about and everything above it that a hold may name.

Wheels stand below their vat, vats below the lots they were filled from, lots below those carried
over into them. Where holds are named at all is one statement; how they are tied to the thing asked
about is read only then. Apart from ``milk.held`` because a trace asks for it ahead.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from config.asking import ahead, ask
from milk.below import ancestors, reached
from milk.held_sql import LOTS_OF_VATS, NAMED, VATS_OF_WHEELS


@dataclass(frozen=True)
class Made:
    """What whoever asks has read already: wheels (keys) by their vat, vats by their lots.

    ``parents``: by lot, what was carried over into it, of every lot above any of these.
    """

    wheels: Mapping[int, int]
    vats: Mapping[int, Collection[int]]
    parents: Mapping[int, Collection[int]] | None = None


@dataclass(frozen=True)
class Things:
    """The lots asked about, the vats asked about or of wheels asked about, and those wheels."""

    lots: set[int]
    vats: set[int]
    wheels: dict[int, int]

    @property
    def named(self) -> dict[str, list[int]]:
        """What NAMED is asked."""
        return {
            "lots": sorted(self.lots),
            "vats": sorted(self.vats),
            "wheels": sorted(self.wheels),
        }


@dataclass(frozen=True)
class Above:
    """By lot, itself and every lot above it; the lots of each vat."""

    lots: dict[int, set[int]]
    vats: dict[int, set[int]]


def things(
    lot_ids: Iterable[int], vat_ids: Iterable[int], wheel_ids: Iterable[int], made: Made | None
) -> Things:
    """What is asked about, with the vats of wheels; a statement when they are not known."""
    known = made.wheels if made else {}
    wheels = {wheel: known[wheel] for wheel in wheel_ids if wheel in known}
    if unknown := set(wheel_ids) - set(wheels):
        wheels |= dict(ask(VATS_OF_WHEELS, {"wheels": sorted(unknown)}))
    return Things(set(lot_ids), {*vat_ids, *wheels.values()}, wheels)


def send_named_ahead(
    *, lot_ids: Iterable[int], vat_ids: Iterable[int], wheel_ids: Iterable[int], made: Made
) -> None:
    """Ask for what ``open_holds`` wants of the same already, within ``in_a_row``."""
    ahead(NAMED, things(lot_ids, vat_ids, wheel_ids, made).named)


def above(asked: Things, made: Made | None) -> Above:
    """Vats to lots, lots to all lots carried over into them; two statements when not known."""
    known = made.vats if made else {}
    vats: dict[int, set[int]] = {vat: set(known.get(vat, ())) for vat in asked.vats}
    if to_ask := sorted(set(vats) - set(known)):
        for vat, lot in ask(LOTS_OF_VATS, {"vats": to_ask}):
            vats[vat].add(lot)
    lots = asked.lots.union(*vats.values())
    if made is None or made.parents is None:
        return Above(ancestors(lots), vats)
    return Above({lot: reached(lot, made.parents) for lot in lots}, vats)
