"""Whose cells are in a tank, and what would be without some of the cows. Pure.

Only cows whose milk goes to the tank now may be handed in: a withheld cow is not in it, and taking
her out again changes nothing. kg a day, cells in thousands per ml, both Decimal as they were
written, so that sums of two thousand cows do not drift.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from config.saying import N_, _

NOT_TO_BE_TRUSTED = N_(
    "The list cannot be trusted: {computed} computed, {measured} measured, {off} % off. Cows are "
    "missing, the recording is old, or the sample was bad."
)
AGREES = N_("{computed} computed, {measured} measured: {off} % off, within {allowed} %.")
NOTHING_COMPUTED = N_("Nothing to compare: no cow of this tank has a recording with kg and cells.")


class Order(StrEnum):
    """What is to be kept small."""

    COWS = N_("fewest cows")
    LITRES = N_("fewest litres")


@dataclass(frozen=True, kw_only=True)
class InTank:
    """A cow's milk in the tank: kg a day and thousand cells per ml."""

    cow: int
    name: str
    kg: Decimal
    cells: Decimal

    @property
    def load(self) -> Decimal:
        """kg times cells."""
        return self.kg * self.cells


def tank_cells(cows: Sequence[InTank]) -> Decimal | None:
    """The tank's count by the cows in it, weighed by their milk; None without milk."""
    kg = sum((cow.kg for cow in cows), Decimal(0))
    return sum((cow.load for cow in cows), Decimal(0)) / kg if kg else None


def shares(cows: Sequence[InTank]) -> list[tuple[InTank, Decimal]]:
    """Every cow with her per cent of the tank's cells, the largest first."""
    whole = sum((cow.load for cow in cows), Decimal(0))
    found = [(cow, 100 * cow.load / whole if whole else Decimal(0)) for cow in cows]
    return sorted(found, key=lambda row: (-row[1], row[0].name))


@dataclass(frozen=True, kw_only=True)
class Step:
    """One more cow out: the tank's count then (None: empty), and kg lost so far."""

    out: InTank
    cells: Decimal | None
    kg_lost: Decimal


@dataclass(frozen=True, kw_only=True)
class WhatIf:
    """Cows taken out one after another until the tank is at the target.

    ``reached`` is False only when there is nothing left to take out and the tank is above it, or
    empty.
    """

    order: Order
    before: Decimal | None
    steps: tuple[Step, ...]
    reached: bool


def what_if(cows: Sequence[InTank], target: Decimal, order: Order) -> WhatIf:
    """The shortest list of cows (exactly), or about the least milk, that brings a tank to target.

    Fewest cows: those that carry most above the target first, kg x (cells - target); no shorter
    list exists. Fewest litres: the highest counts first; at most the last cow is too much.
    """
    if order is Order.COWS:
        ranked = sorted(cows, key=lambda cow: (-cow.kg * (cow.cells - target), cow.name))
    else:
        ranked = sorted(cows, key=lambda cow: (-cow.cells, cow.name))
    kg = sum((cow.kg for cow in cows), Decimal(0))
    load = sum((cow.load for cow in cows), Decimal(0))
    before = now = load / kg if kg else None
    lost, steps = Decimal(0), list[Step]()
    for cow in ranked:
        if now is None or now <= target:
            break
        kg, load, lost = kg - cow.kg, load - cow.load, lost + cow.kg
        now = load / kg if kg else None
        steps.append(Step(out=cow, cells=now, kg_lost=lost))
    return WhatIf(
        order=order,
        before=before,
        steps=tuple(steps),
        reached=now is not None and now <= target,
    )


@dataclass(frozen=True, kw_only=True)
class Compared:
    """The computed against the measured tank: per cent of the computed, and the sentence."""

    off: Decimal | None
    trusted: bool
    words: str


def compare(computed: Decimal | None, measured: Decimal, allowed: Decimal) -> Compared:
    """Whether a list of cows explains what was measured in the tank.

    268 computed and 330 measured are 23 % off: above an allowed 20 % the list is not trusted.
    """
    if not computed:
        return Compared(off=None, trusted=False, words=_(NOTHING_COMPUTED))
    off = 100 * abs(measured - computed) / computed
    words = _(AGREES) if off <= allowed else _(NOT_TO_BE_TRUSTED)
    # "20 % off, within 20 %" may be 20.4: where rounding would hide it a decimal is shown.
    said = f"{off:.0f}" if (off > allowed) == (Decimal(f"{off:.0f}") > allowed) else f"{off:.1f}"
    return Compared(
        off=off,
        trusted=off <= allowed,
        words=words.format(
            computed=f"{computed:,.0f}",
            measured=f"{measured:,.0f}",
            off=said,
            allowed=f"{allowed.normalize():f}",
        ),
    )
