"""Which line of an order a wheel is for, and what is still to be fetched. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from math import ceil


@dataclass(frozen=True)
class Asked:
    """One line of an order: ``pieces`` or ``kg``, of at least ``months`` and at worst ``rank``."""

    months: int
    rank: int
    pieces: int | None
    kg: Decimal | None


@dataclass(frozen=True)
class Have:
    """A wheel: age in full months, rank of its grade (None: not graded), kg."""

    months: int
    rank: int | None
    kg: Decimal


@dataclass
class Filling:
    """A line with the wheels that were counted for it."""

    asked: Asked
    wheels: list[int] = field(default_factory=list)
    kg: Decimal = Decimal(0)

    @property
    def is_full(self) -> bool:
        if self.asked.pieces is not None:
            return len(self.wheels) >= self.asked.pieces
        return self.asked.kg is not None and self.kg >= self.asked.kg

    def takes(self, wheel: Have) -> bool:
        """Whether a wheel is old and good enough for the line."""
        return (
            wheel.rank is not None
            and wheel.rank <= self.asked.rank
            and wheel.months >= self.asked.months
        )

    def wheels_missing(self, usual: Decimal) -> int:
        """How many more wheels it takes, of the usual weight where kg are asked."""
        if self.asked.pieces is not None:
            return max(self.asked.pieces - len(self.wheels), 0)
        left = (self.asked.kg or Decimal(0)) - self.kg
        return max(0, ceil(left / usual))


def strictness(asked: Asked) -> tuple[int, int]:
    """The order in which lines are filled: the oldest, then the best, first."""
    return (-asked.months, asked.rank)


def filled(lines: Sequence[Asked], wheels: Sequence[tuple[int, Have]]) -> list[Filling]:
    """The lines, in their order, with the wheels (key, what it is) counted for them.

    Each wheel goes to the strictest line that takes it and is not full; one that no line takes, or
    that comes when all are full, is counted nowhere.
    """
    fillings = [Filling(line) for line in lines]
    strict = sorted(fillings, key=lambda one: strictness(one.asked))
    for number, wheel in wheels:
        place = next((one for one in strict if one.takes(wheel) and not one.is_full), None)
        if place is not None:
            place.wheels.append(number)
            place.kg += wheel.kg
    return fillings


def line_for(fillings: Sequence[Filling], wheel: Have) -> int | None:
    """The place of the line a further wheel is for; None when the order is full.

    The strictest open line that takes it; when none does, the open line that asks the least, so
    that the answer says how little is lacking.
    """
    still = [place for place, one in enumerate(fillings) if not one.is_full]
    if not still:
        return None
    by_need = sorted(still, key=lambda place: strictness(fillings[place].asked))
    fits = [place for place in by_need if fillings[place].takes(wheel)]
    return fits[0] if fits else by_need[-1]
