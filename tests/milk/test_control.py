"""The control chart of the last lots: its middle and spread, and drift before the limit."""

import math
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from milk.control import FEWEST, LIKE_NORMAL, LOTS, control

# Twenty steady lots around 200, and more of the same.
STEADY = [190, 205, 198, 212, 201, 188, 207, 195, 203, 199, 210, 192, 204, 197, 206, 194, 202, 200]
STEADY = [float(value) for value in STEADY * 3]


def test_steady_lots_show_no_drift() -> None:
    chart = control(STEADY)
    assert chart is not None
    assert chart.drifting is None
    assert chart.middle == pytest.approx(statistics.median(STEADY), rel=0.01)
    assert chart.below < chart.middle < chart.above[0] < chart.above[1] < chart.above[2] < 400


def test_a_slow_rise_is_marked_long_before_the_limit() -> None:
    rising = STEADY + [200 * 1.02**n for n in range(1, 9)]
    chart = control(rising)
    assert chart is not None
    assert max(rising) < 400 * 0.6
    assert chart.drifting is not None


def test_eight_lots_above_the_middle_are_a_sign_and_seven_are_not() -> None:
    for times, drifting in ((7, False), (8, True)):
        chart = control([*STEADY, 190.0, *[203.0] * times])
        assert chart is not None
        assert (chart.drifting is not None) is drifting, times


@pytest.mark.parametrize(
    ("last", "words"),
    [
        ([260], "it lies beyond three times the usual spread"),
        ([218, 190, 218], "two of the last 3 lots lie beyond twice the usual spread"),
    ],
)
def test_the_sign_is_said(last: list[float], words: str) -> None:
    chart = control(STEADY + [float(value) for value in last])
    assert chart is not None
    assert chart.drifting is not None
    assert chart.drifting.words == words


def test_a_drop_is_no_drift() -> None:
    chart = control([*STEADY, *[100.0] * 10])
    assert chart is not None
    assert chart.drifting is None


def test_one_bad_lot_does_not_move_the_middle_or_the_spread() -> None:
    clean, spoilt = control(STEADY[:40]), control([*STEADY[:39], 5000.0])
    assert clean is not None
    assert spoilt is not None
    assert spoilt.middle == pytest.approx(clean.middle, rel=0.01)
    assert spoilt.above[2] == pytest.approx(clean.above[2], rel=0.03)
    assert clean.drifting is None
    assert spoilt.drifting is not None


def test_too_few_lots_have_no_chart_and_old_ones_are_left_out() -> None:
    assert control(STEADY[: FEWEST - 1]) is None
    assert control(STEADY[:FEWEST]) is not None
    chart = control([9000.0] * 50 + STEADY + STEADY)
    assert chart is not None
    assert len(chart.values) == LOTS
    assert max(chart.values) < 300


@given(st.lists(st.floats(1, 9000), min_size=FEWEST, max_size=LOTS))
def test_the_spread_is_the_robust_one_of_the_logarithms(values: list[float]) -> None:
    chart = control(values)
    assert chart is not None
    logs = [math.log(value) for value in values]
    middle = statistics.median(logs)
    spread = LIKE_NORMAL * statistics.median([abs(each - middle) for each in logs])
    assert math.log(chart.above[0]) - math.log(chart.middle) == pytest.approx(spread, abs=1e-9)
    places = [sign.place for sign in chart.signs]
    assert places == sorted(set(places))
