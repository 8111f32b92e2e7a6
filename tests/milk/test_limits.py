"""The rules about limits, as tables with the boundary rows in them; no database, no clock."""

import statistics
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from milk import limits
from milk.limits import Bound, LastRule, MeanRule, Outcome, Sample

PLATE = MeanRule(
    at_most=Decimal(100), unit="thousand per ml", scheme="test", months=2, samples_a_month=2
)
CELLS = MeanRule(
    at_most=Decimal(400), unit="thousand per ml", scheme="test", months=3, samples_a_month=1
)
END_OF_JUNE = date(2026, 6, 30)


def samples(*results: str, days: list[date] | None = None) -> list[Sample]:
    """Samples with these results, by default two in each of May and June 2026, further in June."""
    days = days or [date(2026, 5, 4), date(2026, 5, 18), date(2026, 6, 2), date(2026, 6, 16)]
    days = days + [date(2026, 6, 20 + n) for n in range(9)]
    return [
        Sample(taken_on=day, value=Decimal(result))
        for day, result in zip(days, results, strict=False)
    ]


@pytest.mark.parametrize(
    ("day", "months", "expected"),
    [
        (date(2026, 6, 30), 2, date(2026, 4, 30)),
        (date(2026, 5, 31), 3, date(2026, 2, 28)),
        (date(2024, 5, 31), 3, date(2024, 2, 29)),
        (date(2026, 1, 15), 3, date(2025, 10, 15)),
        (date(2026, 12, 1), 12, date(2025, 12, 1)),
    ],
)
def test_months_before(day: date, months: int, expected: date) -> None:
    assert limits.months_before(day, months) == expected


@pytest.mark.parametrize(
    ("taken_on", "inside"),
    [
        (date(2026, 4, 30), False),
        (date(2026, 5, 1), True),
        (date(2026, 6, 30), True),
        (date(2026, 7, 1), False),
    ],
)
def test_window_is_open_at_its_start_and_closed_at_its_end(taken_on: date, inside: bool) -> None:
    sample = Sample(taken_on=taken_on, value=Decimal(1))
    assert (sample in limits.in_window([sample], END_OF_JUNE, 2)) is inside


def test_mean_within_says_so_in_one_sentence() -> None:
    verdict = limits.judge_mean(samples("40", "60", "250", "80"), PLATE, END_OF_JUNE)
    assert verdict.outcome is Outcome.WITHIN
    assert verdict.words == (
        "within: mean of 4 samples in 2 months 83, limit 100 thousand per ml (test)"
    )
    assert verdict.blamed == ()


def test_mean_over_names_the_samples_that_did_it() -> None:
    verdict = limits.judge_mean(samples("40", "60", "250", "80", "600"), PLATE, END_OF_JUNE)
    assert verdict.outcome is Outcome.OVER
    assert [sample.value for sample in verdict.blamed] == [250, 600]
    assert "over: mean of 5 samples in 2 months 124" in verdict.words
    assert "250 of 2026-06-02, 600 of 2026-06-20" in verdict.words


def test_a_mean_just_over_is_not_shown_as_the_limit() -> None:
    verdict = limits.judge_mean(samples("100", "100", "100", "100.4"), PLATE, END_OF_JUNE)
    assert verdict.outcome is Outcome.OVER
    assert "months 100.1," in verdict.words


def test_too_few_samples_are_no_alarm_and_name_the_month() -> None:
    april_and_june = samples("500", "500", days=[date(2026, 4, 7), date(2026, 6, 9)])
    verdict = limits.judge_mean(april_and_june[:2], CELLS, END_OF_JUNE)
    assert verdict.outcome is Outcome.NOT_VALID
    assert verdict.words == "not valid, May missing (test needs 1 a month)"
    assert verdict.mean == 500
    assert verdict.next_allowed is None


@pytest.mark.parametrize("day", [date(2026, 6, 9), date(2026, 6, 20), END_OF_JUNE])
def test_missing_month_is_named_on_every_day(day: date) -> None:
    april_and_june = samples("300", "300", days=[date(2026, 4, 7), date(2026, 6, 9)])[:2]
    assert limits.judge_mean(april_and_june, CELLS, day).words.startswith("not valid, May missing")


def test_one_plate_count_in_one_of_two_months_is_too_few() -> None:
    verdict = limits.judge_mean(samples("40", "60", "50"), PLATE, END_OF_JUNE)
    assert verdict.outcome is Outcome.NOT_VALID
    assert "only 1 of 2 samples in June" in verdict.words


def test_running_month_is_let_off_while_the_months_before_it_are_full() -> None:
    days = [
        date(2026, 4, 7),
        date(2026, 4, 21),
        date(2026, 5, 5),
        date(2026, 5, 19),
        date(2026, 6, 2),
    ]
    full = samples("40", "40", "40", "40", "40", days=days)[:5]
    assert limits.judge_mean(full, PLATE, date(2026, 6, 2)).outcome is Outcome.WITHIN
    assert limits.judge_mean(full[1:], PLATE, date(2026, 6, 2)).outcome is Outcome.NOT_VALID
    assert limits.judge_mean(full, PLATE, END_OF_JUNE).outcome is Outcome.NOT_VALID


def test_no_samples_at_all_is_not_valid() -> None:
    verdict = limits.judge_mean([], PLATE, END_OF_JUNE)
    assert verdict.outcome is Outcome.NOT_VALID
    assert verdict.mean is None
    assert "May missing, June missing" in verdict.words


def test_full_months_whose_samples_lie_before_the_window_are_not_valid() -> None:
    rule = MeanRule(at_most=Decimal(9), unit="u", scheme="test", months=1, samples_a_month=1)
    early = [Sample(taken_on=date(2026, 5, 2), value=Decimal(5))]
    verdict = limits.judge_mean(early, rule, date(2026, 6, 20))
    assert verdict.outcome is Outcome.NOT_VALID
    assert "no sample in the window" in verdict.words


def test_later_samples_do_not_change_what_was_said() -> None:
    now = samples("40", "60", "250", "80")
    later = [*now, Sample(taken_on=date(2026, 7, 2), value=Decimal(9000))]
    assert limits.judge_mean(later, PLATE, END_OF_JUNE) == limits.judge_mean(
        now, PLATE, END_OF_JUNE
    )


@pytest.mark.parametrize("value", ["0", "-1"])
def test_a_result_of_nothing_has_no_geometric_mean(value: str) -> None:
    with pytest.raises(ValueError, match="above 0"):
        limits.geometric_mean([Decimal(10), Decimal(value)])
    with pytest.raises(ValueError, match="above 0"):
        limits.next_allowed([Decimal(value)], Decimal(100))


@pytest.mark.parametrize(
    ("value", "within"), [("99.9999", True), ("100", True), ("100.0001", False)]
)
def test_single_result_at_most(value: str, within: bool) -> None:
    bound = Bound(at_most=Decimal(100), unit="thousand per ml", scheme="test")
    verdict = limits.judge_single(Sample(taken_on=END_OF_JUNE, value=Decimal(value)), bound)
    assert (verdict.outcome is Outcome.WITHIN) is within


@pytest.mark.parametrize(("value", "within"), [("2.9", False), ("3.0", True), ("3.1", True)])
def test_single_result_at_least(value: str, within: bool) -> None:
    bound = Bound(at_least=Decimal(3), unit="%", scheme="test")
    verdict = limits.judge_single(Sample(taken_on=END_OF_JUNE, value=Decimal(value)), bound)
    assert (verdict.outcome is Outcome.WITHIN) is within


def test_single_result_over_is_said_as_it_was_written() -> None:
    bound = Bound(at_most=Decimal("0.05"), unit="µg/kg", scheme="test")
    sample = Sample(taken_on=END_OF_JUNE, value=Decimal("0.0710"), written="0,071")
    assert limits.judge_single(sample, bound).words == (
        "over: 0,071 of 2026-06-30, at most 0.05 µg/kg (test)"
    )


@pytest.mark.parametrize(
    ("results", "times", "of_last", "over"),
    [
        ("..", 2, 4, False),
        (".x.x", 2, 4, True),
        ("xx....", 2, 4, False),
        ("x....x", 2, 4, False),
        ("xx", 2, 4, True),
        ("x.x.x", 3, 5, True),
        ("x.x..", 3, 5, False),
        ("xx...x", 3, 5, False),
        ("", 2, 4, False),
    ],
)
def test_so_many_of_the_last_results(results: str, times: int, of_last: int, over: bool) -> None:
    bound = Bound(at_most=Decimal(100), unit="thousand per ml", scheme="test")
    series = [
        Sample(taken_on=date(2026, 6, day), value=Decimal(101 if result == "x" else 100))
        for day, result in enumerate(results, start=1)
    ]
    rule = LastRule(bound=bound, times=times, of_last=of_last)
    verdict = limits.judge_last(series, rule, END_OF_JUNE)
    assert verdict.is_over is over
    assert len(verdict.blamed) == (verdict.words.count("101 of 2026-06") if over else 0)


counts = st.lists(
    st.decimals(min_value="0.1", max_value="99999", places=1), min_size=1, max_size=40
)


@given(counts)
def test_mean_lies_between_least_and_most_and_agrees_with_the_standard_library(
    values: list[Decimal],
) -> None:
    mean = limits.geometric_mean(values)
    assert min(values) - Decimal("1e-6") <= mean <= max(values) + Decimal("1e-6")
    assert float(mean) == pytest.approx(
        statistics.geometric_mean([float(value) for value in values]), rel=1e-9, abs=1e-6
    )


@given(counts, st.decimals(min_value="0.1", max_value="9999", places=1))
def test_next_allowed_is_the_last_result_that_still_passes(
    values: list[Decimal], limit: Decimal
) -> None:
    most = limits.next_allowed(values, limit)
    assert most == 0 or limits.mean_within([*values, most], limit)
    assert not limits.mean_within([*values, most + 1], limit)


def test_with_very_many_good_results_no_single_one_matters() -> None:
    days = [date(2026, 5, 1 + n % 28) for n in range(60)] + [
        date(2026, 6, 1 + n % 28) for n in range(60)
    ]
    series = [Sample(taken_on=day, value=Decimal(7)) for day in days]
    assert limits.judge_mean(series, PLATE, END_OF_JUNE).next_allowed is None
    assert limits.next_allowed([Decimal(7)] * 120, Decimal(100)) > Decimal(10) ** 100


@given(counts)
def test_a_mean_of_exactly_the_limit_passes(values: list[Decimal]) -> None:
    limit = values[0]
    assert limits.mean_within([limit] * len(values), limit)


@given(st.lists(st.tuples(st.dates(date(2025, 1, 1), date(2026, 12, 31)), st.integers(1, 900))))
def test_order_of_the_samples_does_not_matter(rows: list[tuple[date, int]]) -> None:
    series = [Sample(taken_on=day, value=Decimal(value)) for day, value in rows]
    forward = limits.judge_mean(series, CELLS, END_OF_JUNE)
    backward = limits.judge_mean(series[::-1], CELLS, END_OF_JUNE)
    assert forward.outcome is backward.outcome
    assert forward.mean == backward.mean
