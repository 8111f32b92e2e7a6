"""Which line of an order a wheel counts for."""

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from milk.order_lines import Asked, Have, filled, line_for

OLD = Asked(24, 0, 2, None)
YOUNG = Asked(12, 2, None, Decimal(100))
KG = Decimal(40)


def test_the_strictest_line_that_takes_it_comes_first():
    fillings = filled([YOUNG, OLD], [(1, Have(25, 0, KG)), (2, Have(13, 0, KG))])
    assert [one.wheels for one in fillings] == [[2], [1]]
    assert line_for(fillings, Have(30, 0, KG)) == 1
    assert line_for(fillings, Have(13, 1, KG)) == 0


def test_a_wheel_that_fits_nowhere_is_told_the_least_that_is_asked():
    assert line_for(filled([OLD, YOUNG], []), Have(11, None, KG)) == 1


def test_kg_are_full_when_they_are_reached():
    fillings = filled([YOUNG], [(n, Have(13, 1, KG)) for n in range(4)])
    assert (fillings[0].wheels, fillings[0].is_full) == ([0, 1, 2], True)
    assert line_for(fillings, Have(13, 1, KG)) is None
    assert fillings[0].wheels_missing(KG) == 0


def test_how_many_are_missing():
    assert filled([YOUNG], [])[0].wheels_missing(KG) == 3
    assert filled([OLD], [(1, Have(24, 0, KG))])[0].wheels_missing(KG) == 1


LINES = st.builds(Asked, st.integers(1, 36), st.integers(0, 3), st.integers(1, 4), st.none())
WHEELS = st.builds(Have, st.integers(0, 40), st.none() | st.integers(0, 3), st.just(KG))


@given(st.lists(LINES, max_size=4), st.lists(WHEELS, max_size=12))
def test_no_wheel_counts_twice_and_none_where_it_does_not_fit(lines, wheels):
    rows = list(enumerate(wheels))
    fillings = filled(lines, rows)
    counted = [number for one in fillings for number in one.wheels]
    assert len(counted) == len(set(counted))
    for one in fillings:
        assert len(one.wheels) <= one.asked.pieces
        assert all(one.takes(wheels[number]) for number in one.wheels)
    for number, wheel in rows:
        if number not in counted:
            assert not any(one.takes(wheel) and not one.is_full for one in fillings)
