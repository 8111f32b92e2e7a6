"""Fat to casein, cream, rennet, clotting and yield: tables with their boundary rows, properties."""

import random
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from milk import vat
from milk.vat import Make, Milk

D = Decimal
contents = st.decimals("0.5", "6", places=2)
weights = st.decimals("50", "2000", places=1)


def test_casein_as_measured_comes_before_a_share_of_protein() -> None:
    assert vat.casein_of(D("2.8"), D("3.5"), D(78)) == D("2.8")
    assert vat.casein_of(None, D("3.5"), D(78)) == D("2.73")
    assert vat.casein_of(None, None, D(78)) is None


def test_nothing_to_divide_by_is_said() -> None:
    with pytest.raises(ValueError, match="casein"):
        vat.ratio(D(3), D(0))
    with pytest.raises(ValueError, match="Evening"):
        vat.evening_fat(D("1.1"), D("2.7"), D(0), Milk(D(1), D(4), D(3)))
    with pytest.raises(ValueError, match="dose"):
        vat.rennet_grams(D(100), D(3), D(1200), D(0))
    with pytest.raises(ValueError, match="dose"):
        vat.clot_expected(D(10), D(0), D(30))


def test_a_day_without_vats_has_no_ratio() -> None:
    assert vat.day_ratio([]) is None
    assert vat.ratio_left([D("1.2")], 0, D("1.18")) is None


@given(kg=weights, fat=contents, casein=contents, morning=weights, aim=st.decimals("0.8", "1.4"))
def test_the_fat_asked_for_gives_the_ratio(
    kg: Decimal, fat: Decimal, casein: Decimal, morning: Decimal, aim: Decimal
) -> None:
    whole = Milk(morning, fat, casein)
    needed = vat.evening_fat(aim, casein, kg, whole)
    found = vat.ratio_of([Milk(kg, needed, casein), whole])
    assert abs(found - aim) < D("1e-9")


@given(kg=weights, fat=contents, wanted=contents, cream=st.decimals("10", "30", places=1))
def test_the_cream_taken_leaves_the_fat_wanted(
    kg: Decimal, fat: Decimal, wanted: Decimal, cream: Decimal
) -> None:
    taken = vat.cream_to_take(kg, fat, wanted, cream)
    assert taken is not None
    assert 0 <= taken < kg
    left = (kg * fat - taken * cream) / (kg - taken)
    assert abs(left - min(fat, wanted)) < D("1e-9")


def test_cream_that_is_no_fatter_makes_no_milk_leaner() -> None:
    assert vat.cream_to_take(D(500), D(4), D(2), D(4)) is None
    assert vat.cream_to_take(D(500), D(4), D(-1), D(20)) is None


@given(
    vats=st.lists(st.decimals("0.9", "1.5", places=3), max_size=20),
    still=st.integers(1, 20),
    aim=st.decimals("1", "1.3", places=2),
)
def test_the_vats_left_can_bring_the_day_to_its_aim(
    vats: list[Decimal], still: int, aim: Decimal
) -> None:
    each = vat.ratio_left(vats, still, aim)
    assert each is not None
    end = vat.forecast(vats, [each] * still)
    assert end is not None
    assert abs(end - aim) < D("1e-9")


@pytest.mark.parametrize(
    ("minutes", "slow"), [(12.0, False), (13.0, False), (13.01, True), (20.0, True)]
)
def test_slow_is_more_than_three_minutes_over_the_mean(minutes: float, slow: bool) -> None:
    assert vat.is_slow(minutes, [10.0] * 5, 3, 5) is slow


def test_too_few_vats_before_call_nothing_slow() -> None:
    assert vat.is_slow(60, [10.0] * 4, 3, 5) is None
    assert vat.is_slow(60, [], 3, 0) is None


def plane(n: int, *, noise: float = 0) -> list[Make]:
    dice = random.Random(7)
    makes = []
    for _ in range(n):
        fat, casein = dice.uniform(2.8, 3.4), dice.uniform(2.6, 2.95)
        makes.append(Make(fat, casein, 0.5 + 1.1 * fat + 1.6 * casein + dice.gauss(0, noise)))
    return makes


def test_a_plane_is_found_again() -> None:
    found = vat.fit(plane(40), 30)
    assert found is not None
    assert (found.base, found.by_fat, found.by_casein) == pytest.approx((0.5, 1.1, 1.6))
    assert found.explained == pytest.approx(1)
    assert found.residual(Make(3, 2.8, 0.97 * found.expected(3, 2.8))) == pytest.approx(-3)


def test_a_fit_leaves_nothing_that_fat_or_casein_could_explain() -> None:
    makes = plane(60, noise=0.2)
    found = vat.fit(makes, 30)
    assert found is not None
    over = [one.kg - found.expected(one.fat, one.casein) for one in makes]
    for column in ([1.0] * 60, [one.fat for one in makes], [one.casein for one in makes]):
        assert sum(a * b for a, b in zip(column, over, strict=True)) == pytest.approx(0, abs=1e-6)


def test_no_fit_from_too_few_or_from_one_line() -> None:
    assert vat.fit(plane(29), 30) is None
    assert vat.fit([Make(f / 10, f / 10, f / 2) for f in range(10, 60)], 30) is None
    assert vat.fit([Make(3, 2.7, 8)] * 50, 30) is None
    assert vat.fit(plane(3), 0) is None


def test_loss_and_yield_of_nothing_are_not_known() -> None:
    assert vat.loss(D(0), D(40)) is None
    assert vat.yield_per_100(D(95), D(0)) is None
