"""Which group stands out: exact, against the slow count, and rare where there is no difference."""

from decimal import Decimal
from fractions import Fraction
from math import comb
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from milk.chance import Bounds, Counted, as_bad_by_chance, judged, looked_at

BOUNDS = Bounds(chance=Decimal("0.01"), times=Decimal(2), wheels=20, chance_2=Decimal("0.05"))


def slow(vats, bad, all_vats, all_bad):
    """The tail in whole numbers, term by term."""
    ways = sum(
        comb(all_bad, k) * comb(all_vats - all_bad, vats - k)
        for k in range(bad, min(vats, all_bad) + 1)
    )
    return float(Fraction(ways, comb(all_vats, vats)))


@given(st.data())
def test_the_tail_is_the_slow_count(data):
    all_vats = data.draw(st.integers(1, 60))
    all_bad = data.draw(st.integers(0, all_vats))
    vats = data.draw(st.integers(0, all_vats))
    bad = data.draw(st.integers(0, min(vats, all_bad)))
    assert as_bad_by_chance(vats, bad, all_vats, all_bad) == pytest.approx(
        slow(vats, bad, all_vats, all_bad), rel=1e-9
    )


def test_large_groups_stay_exact():
    # Half of 12,000 vats with 900 of 1,500 bad ones: so far out that chance is next to nothing.
    assert 0 < as_bad_by_chance(6000, 900, 12_000, 1500) < 1e-14
    # Half of the vats: as many bad ones in one half as in the other, so the tail from the middle on
    # is one half, and half of the middle itself.
    middle = float(Fraction(comb(1500, 750) * comb(10_500, 5250), comb(12_000, 6000)))
    assert as_bad_by_chance(6000, 750, 12_000, 1500) == pytest.approx((1 + middle) / 2, rel=1e-9)


def test_counts_that_cannot_be_are_refused():
    with pytest.raises(ValueError, match="cannot be"):
        as_bad_by_chance(3, 4, 10, 5)


def test_groups_too_small_to_show_anything_are_not_corrected_for():
    assert looked_at([0.5] * 400 + [1e-6], 0.01) == 1
    assert looked_at([1e-9] * 40, 0.01) == 40
    assert looked_at([], 0.01) == 1


def test_a_bad_group_is_named_and_its_neighbours_are_not():
    groups = {f"lot {n}": Counted(22, 1, 11, 1) for n in range(30)}
    groups["lot 30"] = Counted(22, 14, 11, 8)
    whole = Counted(31 * 22, 30 + 14, 31 * 11, 30 + 8)
    verdicts = judged(groups, whole, BOUNDS)
    assert [name for name, one in verdicts.items() if one.named] == ["lot 30"]


def test_twice_the_share_in_few_wheels_is_not_named():
    groups = {"a": Counted(18, 4, 9, 2), "b": Counted(400, 40, 200, 20)}
    whole = Counted(418, 44, 209, 22)
    assert not any(one.named for one in judged(groups, whole, BOUNDS).values())


def test_without_any_difference_hardly_a_list_names_a_group():
    """400 lists of 60 groups of vats whose twins always agree, drawn at one rate (seeded)."""
    dice, lists, crying = Random(20260609), 400, 0
    for _ in range(lists):
        bad = [sum(dice.random() < 0.08 for _ in range(11)) for _ in range(60)]
        groups = {str(n): Counted(22, 2 * one, 11, one) for n, one in enumerate(bad)}
        whole = Counted(60 * 22, 2 * sum(bad), 60 * 11, sum(bad))
        crying += any(one.named for one in judged(groups, whole, BOUNDS).values())
    # Five in a hundred is the most the bounds promise.
    assert crying / lists <= 0.05
