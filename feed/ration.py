"""Dry matter offered, refused and eaten, and the shares of a ration. Pure: values in, values out.

Masses in kg of fresh weight, dry matter in per cent of it, shares in per cent.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

FORAGE = ("grass", "hay")
MEAL = ("meal",)


@dataclass(frozen=True)
class Offered:
    """One feed put before a group: kind ("grass", "hay", "meal" ...), kg, dry matter in %."""

    kind: str
    kg: Decimal
    dry_matter: Decimal

    @property
    def dry_matter_kg(self) -> Decimal:
        return dry_matter_kg(self.kg, self.dry_matter)


def dry_matter_kg(kg: Decimal, dry_matter: Decimal) -> Decimal:
    """Kilos of dry matter in ``kg`` of feed with ``dry_matter`` per cent."""
    return kg * dry_matter / 100


def total(offered: Iterable[Offered], kinds: Iterable[str] | None = None) -> Decimal:
    """Kilos of dry matter of the feeds of these kinds, of all when none are named."""
    wanted = None if kinds is None else set(kinds)
    return sum(
        (feed.dry_matter_kg for feed in offered if wanted is None or feed.kind in wanted),
        Decimal(0),
    )


def refused_share(offered: Decimal, refused: Decimal) -> Decimal:
    """Refusals in per cent of what was offered. Raises ZeroDivisionError when nothing was."""
    if not offered:
        raise ZeroDivisionError("nothing was offered")
    return refused / offered * 100


def intake(
    offered: Sequence[Offered], refused: Iterable[tuple[Decimal, Decimal]], cow_days: Decimal
) -> Decimal:
    """Kilos of dry matter eaten per cow and day.

    ``refused``: (kg, dry matter in %) of what was left. ``cow_days``: cows fed, times days.
    """
    left = sum((dry_matter_kg(kg, percent) for kg, percent in refused), Decimal(0))
    return (total(offered) - left) / cow_days


def share(offered: Sequence[Offered], kinds: Iterable[str], of: Iterable[str]) -> Decimal:
    """Dry matter of ``kinds`` in per cent of that of ``of``; 0 when there is none of these."""
    whole = total(offered, of)
    return total(offered, kinds) / whole * 100 if whole else Decimal(0)


def forage_to_meal(offered: Sequence[Offered]) -> Decimal | None:
    """Dry matter of forage per kg of that of meal; None without meal."""
    meal = total(offered, MEAL)
    return total(offered, FORAGE) / meal if meal else None
