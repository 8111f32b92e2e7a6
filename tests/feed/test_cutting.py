"""How much to cut tomorrow, and in which wagons. No database."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feed.cutting import Wanted, kilos_needed, kilos_to_cut, wagons

D = Decimal
STEP = D(100)


@pytest.mark.parametrize(
    ("cows", "target", "percent", "loss", "needed"),
    [
        (100, "10", "20", "0", "5000"),
        (100, "10", "20", "20", "6250"),
        (0, "10", "20", "4", "0"),
    ],
)
def test_kilos_needed(cows: int, target: str, percent: str, loss: str, needed: str) -> None:
    wanted = [Wanted(cows=cows, target=D(target))]
    assert kilos_needed(wanted, D(percent), D(loss)) == D(needed)


@pytest.mark.parametrize(
    ("percent", "loss"), [("0", "4"), ("-1", "4"), ("17", "100"), ("17", "-1")]
)
def test_impossible_grass_is_refused(percent: str, loss: str) -> None:
    with pytest.raises(ValueError, match="is"):
        kilos_needed([Wanted(cows=1, target=D(1))], D(percent), D(loss))


def test_what_lies_there_and_is_still_good_is_not_cut_again() -> None:
    assert kilos_to_cut(D(9010), D(2000), STEP) == 7100
    assert kilos_to_cut(D(9000), D(9500), STEP) == 0


def test_last_wagon_carries_what_is_missing_and_no_more() -> None:
    assert wagons(D(22000), D(9000), D(0), STEP) == [9000, 9000, 4000]
    assert wagons(D(18000), D(9000), D(0), STEP) == [9000, 9000]
    assert wagons(D(0), D(9000), D(0), STEP) == []


def test_a_rest_too_light_for_a_trip_is_shared_with_the_load_before() -> None:
    assert wagons(D(18300), D(9000), D(500), STEP) == [9000, 4700, 4600]
    assert wagons(D(300), D(9000), D(500), STEP) == [300]


groups = st.lists(
    st.builds(Wanted, cows=st.integers(0, 300), target=st.integers(1, 200).map(lambda n: D(n) / 10))
)


@given(groups, st.integers(8, 40), st.integers(0, 60), st.integers(0, 30000))
def test_never_less_than_they_need_and_less_than_a_step_more(
    wanted: list[Wanted], percent: int, loss: int, good: int
) -> None:
    dry = sum((one.cows * Fraction(one.target) for one in wanted), Fraction(0))
    exact = dry / Fraction(percent, 100) / (1 - Fraction(loss, 100))
    needed = kilos_needed(wanted, D(percent), D(loss))
    assert abs(Fraction(needed) - exact) < Fraction(1, 10**12)
    cut = kilos_to_cut(needed, D(good), STEP)
    assert cut % STEP == 0
    assert cut + good >= needed
    assert cut == 0 or cut + good < needed + STEP
    loads = wagons(cut, D(9000), D(500), STEP)
    assert sum(loads, D(0)) == cut
    assert all(0 < load <= 9000 for load in loads)
