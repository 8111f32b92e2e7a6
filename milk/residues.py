"""Whether what a laboratory measured in milk is more than the law allows. Pure.

Source: Regulation (EU) 37/2010 Table 1 sets a most for each substance, for sulfonamides the sum of
all of the group; a substance that is not in the table may not be there at all. Equal to the limit
passes.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from config.saying import N_, _
from herd.withdrawal import plain

OVER = N_("{what} {found} µg/kg, at most {most} µg/kg ({scheme})")
SUM = N_("{what} together ({parts})")
NO_LIMIT = N_("{what} {found} µg/kg: no row says how much of it milk may hold")


@dataclass(frozen=True)
class Measured:
    """A substance found in a lot, µg/kg; None: looked for and not found."""

    substance: str
    value: Decimal | None


@dataclass(frozen=True)
class Most:
    """How much of a substance is allowed, µg/kg; ``summed_as``: "" when it counts alone."""

    substance: str
    summed_as: str
    at_most: Decimal
    scheme: str


@dataclass(frozen=True)
class Over:
    """A substance, or a group of them, that is too much; ``key`` tells it apart within a lot."""

    key: str
    words: str


def too_much(measured: Iterable[Measured], limits: Iterable[Most]) -> list[Over]:
    """What of one lot is over, by the limits in force; the latest result of each substance counts.

    ``measured``: in the order of the samples. What was not found counts as none of it.
    """
    latest = {one.substance.casefold(): one for one in measured}
    found = {key: one for key, one in latest.items() if one.value}
    by_substance: dict[str, list[Most]] = defaultdict(list)
    for limit in limits:
        by_substance[limit.substance.casefold()].append(limit)
    over = [
        Over(key, _(NO_LIMIT).format(what=one.substance, found=plain(one.value or Decimal(0))))
        for key, one in found.items()
        if key not in by_substance
    ]
    sums: dict[tuple[str, str], list[tuple[Measured, Most]]] = defaultdict(list)
    for key, one in found.items():
        for limit in by_substance.get(key, ()):
            sums[(limit.summed_as or limit.substance).casefold(), limit.scheme].append((one, limit))
    for (name, _rest), parts in sums.items():
        words = judged(parts)
        if words:
            over.append(Over(name, words))
    return sorted(over, key=lambda one: one.key)


def judged(parts: list[tuple[Measured, Most]]) -> str:
    """What is over of substances that are counted together, in words; "" when nothing is."""
    total = sum((one.value or Decimal(0) for one, _ in parts), Decimal(0))
    limit = min((limit for _, limit in parts), key=lambda one: one.at_most)
    if total <= limit.at_most:
        return ""
    what = limit.substance
    if limit.summed_as:
        said = ", ".join(f"{one.substance} {plain(one.value or Decimal(0))}" for one, _ in parts)
        what = _(SUM).format(what=limit.summed_as, parts=said)
    return _(OVER).format(
        what=what, found=plain(total), most=plain(limit.at_most), scheme=limit.scheme
    )
