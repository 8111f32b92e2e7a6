"""The share of every lot in a mixture, through all that was carried over; pure, to the gram."""

from collections import defaultdict
from collections.abc import Hashable, Iterator, Mapping
from typing import TypeVar

# Shares are whole numbers of this part, so that they come out the same in whatever order they are
# computed, however long a tank goes unwashed.
WHOLE = 2**96

K = TypeVar("K", bound=Hashable)


def mixtures(own: Mapping[K, int], parents: Mapping[K, Mapping[K, int]]) -> dict[K, dict[K, int]]:
    """By lot, the share of each lot's own milk in its mixture, in parts of WHOLE.

    ``own``: grams of own milk of every lot, ancestors included; ``parents``: grams carried into
    them. Every ancestor is in, also with a share of 0. A lot without weight is its own milk.
    """
    found: dict[K, dict[K, int]] = {}
    for lot in parents_first(own, parents):
        carried = parents.get(lot, {})
        total = own[lot] + sum(carried.values())
        shares: dict[K, int] = defaultdict(int)
        for parent, grams in carried.items():
            for origin, share in found[parent].items():
                shares[origin] += share * grams // total if total else 0
        # The lot itself takes what rounding left over.
        shares[lot] = WHOLE - sum(shares.values()) if own[lot] or not total else 0
        found[lot] = dict(shares)
    return found


def parents_first(own: Mapping[K, int], parents: Mapping[K, Mapping[K, int]]) -> Iterator[K]:
    """The lots such that every parent comes before the lots it was carried into."""
    done: set[K] = set()
    for root in own:
        path = [root]
        while path:
            lot = path[-1]
            open_ = [parent for parent in parents.get(lot, {}) if parent not in done]
            if open_:
                path.extend(open_)
                continue
            path.pop()
            if lot not in done:
                done.add(lot)
                yield lot


def share_out(grams: int, weights: Mapping[K, int]) -> dict[K, int]:
    """``grams`` shared out by weight, to the gram, so that the shares add up to it.

    The grams lost by rounding down go to those that lost most; between equals, the first.
    """
    total = sum(weights.values())
    if not total:
        return {}
    shares = {key: grams * weight // total for key, weight in weights.items()}
    lost = sorted(weights, key=lambda key: -(grams * weights[key] % total))
    for key in lost[: grams - sum(shares.values())]:
        shares[key] += 1
    return shares
