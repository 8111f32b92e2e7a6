"""Is a group of wheels worse than the others, or is it chance? Exact, and it does not cry wolf.

Pure. What is counted are vats, not wheels: the two wheels of a vat come from one mass and mostly
agree, so they are not two witnesses. A group is compared with all the other vats by Fisher's exact
test, one-sided. The more groups are looked at, the more often chance alone makes one look bad, so
each must be that much clearer; groups too small to show anything are not counted (Tarone's form of
the Bonferroni correction, Biometrics 46, 1990).
"""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import comb


@dataclass(frozen=True)
class Counted:
    """A group: its wheels and vats, and how many of each are worse than first."""

    wheels: int
    bad_wheels: int
    vats: int
    bad_vats: int


@dataclass(frozen=True, kw_only=True)
class Bounds:
    """When a group is named: below ``chance``; or from ``times`` the others' share, with at least
    ``wheels`` wheels, below ``chance_2``. Chances are for the whole list, not for one group.
    """

    chance: Decimal
    times: Decimal
    wheels: int
    chance_2: Decimal


@dataclass(frozen=True)
class Verdict:
    """``p``: how often chance alone makes it so bad or worse. ``named``: whether it stands out.

    ``corrected``: the same for the whole list, at most 1.
    """

    p: float
    corrected: float
    named: bool


def as_bad_by_chance(vats: int, bad: int, all_vats: int, all_bad: int) -> float:
    """The chance that ``vats`` drawn from all hold at least ``bad`` of the bad ones.

    The hypergeometric tail: exact in its first term, and each further one from the one before it.
    Raises ValueError for counts that cannot be.
    """
    if not (0 <= bad <= vats <= all_vats and bad <= all_bad <= all_vats):
        raise ValueError(f"{bad} bad of {vats}, {all_bad} bad of {all_vats}: these cannot be")
    if bad <= max(0, vats - (all_vats - all_bad)):
        return 1.0
    most = min(vats, all_bad)
    term = comb(all_bad, bad) * comb(all_vats - all_bad, vats - bad) / comb(all_vats, vats)
    total = 0.0
    for k in range(bad, most + 1):
        total += term
        term *= (all_bad - k) * (vats - k)
        term /= (k + 1) * (all_vats - all_bad - vats + k + 1)
    return min(total, 1.0)


def least_chance(vats: int, all_vats: int, all_bad: int) -> float:
    """The smallest chance a group of this size could show, were all it can hold of its vats bad."""
    return as_bad_by_chance(vats, min(vats, all_bad), all_vats, all_bad)


def looked_at(least: Sequence[float], chance: float) -> int:
    """For how many groups to correct: those that could show anything at all, at least 1."""
    smallest = sorted(least)
    for number in range(1, len(least) + 1):
        if bisect_right(smallest, chance / number) <= number:
            return number
    return max(len(least), 1)


def judged(groups: Mapping[str, Counted], whole: Counted, bounds: Bounds) -> dict[str, Verdict]:
    """Every group (key) against the rest of ``whole``."""
    chances = {
        key: as_bad_by_chance(one.vats, one.bad_vats, whole.vats, whole.bad_vats)
        for key, one in groups.items()
    }
    least = [least_chance(one.vats, whole.vats, whole.bad_vats) for one in groups.values()]
    strict = looked_at(least, float(bounds.chance))
    looser = looked_at(least, float(bounds.chance_2))
    return {
        key: Verdict(
            chances[key],
            min(1.0, chances[key] * strict),
            chances[key] * strict < float(bounds.chance)
            or (
                twice_as_bad(one, whole, bounds) and chances[key] * looser < float(bounds.chance_2)
            ),
        )
        for key, one in groups.items()
    }


def twice_as_bad(group: Counted, whole: Counted, bounds: Bounds) -> bool:
    """Whether a large enough group has so many times the share of bad wheels of all the others."""
    others = whole.wheels - group.wheels
    if group.wheels < bounds.wheels or not others:
        return False
    share = Fraction(group.bad_wheels, group.wheels)
    house = Fraction(whole.bad_wheels - group.bad_wheels, others)
    return share > 0 and share >= Fraction(bounds.times) * house
