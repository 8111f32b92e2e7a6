"""How long vats took from rennet to cut, and which were slow beside those before. Reads only."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta

from milk.models import Vat

# House judgement of the dairy: slow is three minutes more than the mean of the thirty vats before.
BESIDE, SLOWER_BY = 30, 3.0
# Fewer vats than this before it are no mean to be slow beside.
LEAST = 5
# Older vats than these are other milk and another season.
REACH = timedelta(days=30)


@dataclass(frozen=True)
class Clot:
    """Minutes from rennet to cut, the mean of the vats before (None: too few), and of how many."""

    minutes: float
    usual: float | None
    n: int

    @property
    def is_slow(self) -> bool | None:
        """Whether it was slow; None when there is nothing to say so by."""
        return None if self.usual is None else self.minutes > self.usual + SLOWER_BY


def clots_of(vats: Iterable[int]) -> dict[int, Clot]:
    """By vat (key), how it clotted; vats without both times are left out. Two statements."""
    asked = set(vats)
    timed = Vat.objects.standing().filter(set_at__isnull=False, cut_at__isnull=False)
    moments = sorted(timed.filter(pk__in=asked).values_list("set_at", flat=True))
    if not moments:
        return {}
    days = (moments[0] - REACH).date(), (moments[-1] + timedelta(days=1)).date()
    rows = timed.filter(day__range=days).order_by("set_at", "pk")
    found: dict[int, Clot] = {}
    earlier: list[float] = []
    for vat, began, cut in rows.values_list("pk", "set_at", "cut_at"):
        minutes = (cut - began).total_seconds() / 60
        if vat in asked:
            last = earlier[-BESIDE:]
            usual = sum(last) / len(last) if len(last) >= LEAST else None
            found[vat] = Clot(minutes, usual, len(last))
        earlier.append(minutes)
    return found
