"""How much grass to cut, and in which wagons. Pure.

C29: cows times the dry matter a cow gets from grass, over the dry matter of grass, and over what is
not lost on the way. The last wagon carries only what is still needed: rounded up to full wagons,
what nobody eats would be cut for the heap.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from config.saying import N_

NO_DRY_MATTER = N_("the dry matter of grass is more than 0 %")
ALL_LOST = N_("less than all of it is lost")


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """Cows of a group, and kg of dry matter a cow gets from grass a day."""

    cows: int
    target: Decimal

    @property
    def dry_matter_kg(self) -> Decimal:
        return self.cows * self.target


def kilos_needed(wanted: Iterable[Wanted], dry_matter: Decimal, loss: Decimal) -> Decimal:
    """Fresh kilos to have at the fence, not rounded.

    ``dry_matter`` of the grass and ``loss`` (left in the trough or thrown away) in per cent. Raises
    ValueError for grass without dry matter, or a loss of all of it.
    """
    if dry_matter <= 0:
        raise ValueError(NO_DRY_MATTER)
    if not 0 <= loss < 100:
        raise ValueError(ALL_LOST)
    dry = sum((group.dry_matter_kg for group in wanted), Decimal(0))
    return dry / dry_matter * 100 / (100 - loss) * 100


def kilos_to_cut(needed: Decimal, still_good: Decimal, step: Decimal) -> Decimal:
    """What must be cut besides what lies there and is still good then, up to the next ``step``."""
    return stepped(max(needed - still_good, Decimal(0)), step)


def stepped(kg: Decimal, step: Decimal) -> Decimal:
    """Kilos up to the next step, as fine as a wagon is filled."""
    return (kg / step).quantize(Decimal(1), ROUND_CEILING) * step


def wagons(kg: Decimal, wagon_kg: Decimal, least: Decimal, step: Decimal) -> list[Decimal]:
    """The loads for ``kg``: as few as can be, full ones first, the last one with what is missing.

    ``least``: lightest load worth a trip; a lighter rest is shared with the load before it, to the
    ``step``.
    """
    full, rest = divmod(kg, wagon_kg)
    loads = [wagon_kg] * int(full)
    if rest and loads and rest < least:
        both = loads.pop() + rest
        half = stepped(both / 2, step)
        return [*loads, half, both - half]
    return [*loads, rest] if rest else loads
