"""What falls due by the limits: mending, sampling again, samples missing; no database."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from milk import due, limits
from milk.limits import Bound, LastRule, MeanRule, Sample

CELLS = MeanRule(
    at_most=Decimal(400),
    unit="thousand per ml",
    scheme="test",
    months=3,
    samples_a_month=1,
    mend_months=3,
)
PLATE = MeanRule(
    at_most=Decimal(100), unit="thousand per ml", scheme="test", months=2, samples_a_month=2
)


def sample(month: int, day: int, value: int) -> Sample:
    return Sample(taken_on=date(2026, month, day), value=Decimal(value))


@pytest.mark.parametrize(("last", "near"), [(460, True), (386, True), (385, False), (300, False)])
def test_near_is_a_next_result_below_one_and_three_tenths_of_the_last(
    last: int, near: bool
) -> None:
    # The next may be 501 whatever came last: 501 < 1.3 x 386, and not < 1.3 x 385.
    known = [sample(4, 6, 310), sample(4, 20, 350), sample(5, 6, 420), sample(5, 20, 390)]
    verdict = limits.judge_mean([*known, sample(6, 3, 460)], CELLS, date(2026, 6, 30))
    assert verdict.next_allowed == 501
    assert due.is_near(verdict, Decimal(last)) is near


def test_over_since_the_sample_that_took_it_over() -> None:
    known = [
        sample(1, 10, 300),
        sample(2, 10, 350),
        sample(3, 1, 600),
        sample(4, 1, 500),
        sample(5, 1, 450),
    ]
    assert due.over_since(known[:3], CELLS, date(2026, 3, 15)) is None
    assert due.over_since(known, CELLS, date(2026, 5, 2)) == date(2026, 4, 1)
    assert due.over_since(known, CELLS, date(2026, 4, 30)) == date(2026, 4, 1)


def test_a_month_without_sample_does_not_mend_a_mean() -> None:
    known = [sample(1, 10, 500), sample(2, 10, 500), sample(3, 10, 500), sample(4, 10, 500)]
    gap = [
        *known,
        *[Sample(taken_on=date(2026, month, 10), value=Decimal(500)) for month in (6, 7, 8)],
    ]
    assert due.over_since(gap, CELLS, date(2026, 8, 31)) == date(2026, 3, 10)


def test_a_month_after() -> None:
    assert due.stopped_from(date(2026, 3, 1), CELLS) == date(2026, 6, 1)
    assert due.stopped_from(date(2026, 11, 30), CELLS) == date(2027, 2, 28)
    assert due.stopped_from(date(2026, 3, 1), PLATE) is None


def test_the_notice_is_of_the_sample_that_made_it() -> None:
    rule = LastRule(
        bound=Bound(at_most=Decimal(100), unit="u", scheme="test"),
        times=2,
        of_last=4,
        again_after=3,
        again_within=21,
    )
    known = [sample(5, 1, 120), sample(5, 10, 90), sample(5, 20, 130), sample(5, 29, 90)]
    assert due.noticed_on(known, rule, date(2026, 5, 31)) == date(2026, 5, 20)
    assert due.noticed_on(known[:2], rule, date(2026, 5, 31)) is None
    assert due.sample_again(date(2026, 6, 1), rule) == (date(2026, 6, 4), date(2026, 6, 22))


def test_samples_of_the_month() -> None:
    quota = due.month_quota([sample(5, 30, 20), sample(6, 3, 20)], PLATE, date(2026, 6, 20))
    assert (quota.taken, quota.needed, quota.missing) == (1, 2, 1)
    assert quota.until == date(2026, 6, 30)


def test_four_samples_in_six_months() -> None:
    days = [date(2026, 1, 10), date(2026, 3, 1), date(2026, 5, 1), date(2026, 6, 1)]
    known = [Sample(taken_on=day, value=Decimal(20)) for day in days]
    whole = due.span_quota(known, 4, 6, date(2026, 6, 30))
    assert (whole.taken, whole.missing, whole.until) == (4, 0, date(2026, 7, 9))
    short = due.span_quota(known, 4, 6, date(2026, 7, 10))
    assert (short.taken, short.missing) == (3, 1)


def test_samples_close_together_count_once_from_the_first_on() -> None:
    days = [date(2026, 6, 1) + timedelta(days=n) for n in range(9)]
    known = [Sample(taken_on=day, value=Decimal(1 + n)) for n, day in enumerate(days)]
    assert [kept.taken_on.day for kept in limits.spaced(known, 4)] == [1, 5, 9]
    assert limits.spaced(known, 0) == known
    assert limits.spaced(known[::-1], 1) == known


def test_a_mean_with_a_least_gap_leaves_the_second_of_two_out() -> None:
    rule = MeanRule(
        at_most=Decimal(100), unit="u", scheme="test", months=2, samples_a_month=2, gap_days=4
    )
    known = [sample(5, 4, 80), sample(5, 18, 80), sample(6, 2, 80), sample(6, 5, 900)]
    assert not limits.judge_mean([*known, sample(6, 16, 80)], rule, date(2026, 6, 30)).is_over
    said = limits.judge_mean(known, rule, date(2026, 6, 30))
    assert "only 1 of 2 samples in June" in said.words


def test_several_results_of_one_day_are_one() -> None:
    bound = Bound(at_most=Decimal(100), unit="u", scheme="test")
    rule = LastRule(bound=bound, times=2, of_last=4)
    same_day = [sample(6, 1, 120), sample(6, 1, 130), sample(6, 8, 90)]
    assert not limits.judge_last(same_day, rule, date(2026, 6, 30)).is_over
    other_day = [*same_day, sample(6, 15, 101), sample(6, 15, 20)]
    verdict = limits.judge_last(other_day, rule, date(2026, 6, 30))
    assert verdict.is_over
    assert [one.value for one in verdict.blamed] == [130, 101]


@pytest.mark.parametrize(
    ("results", "most"),
    [((120, 90, 90), 100), ((90, 90, 90), None), ((120, 90, 90, 90), None), ((90, 120, 120), 100)],
)
def test_what_the_next_of_the_last_results_may_be(
    results: tuple[int, ...], most: int | None
) -> None:
    bound = Bound(at_most=Decimal(100), unit="u", scheme="test")
    known = [sample(6, 1 + n, value) for n, value in enumerate(results)]
    verdict = limits.judge_last(known, LastRule(bound=bound, times=2, of_last=4), date(2026, 6, 30))
    assert verdict.next_allowed == most


def test_of_very_many_samples_over_the_worst_are_named() -> None:
    known = [sample(6, 1 + n, 400 + n) for n in range(28)]
    words = limits.samples_said(known)
    assert words.count(" of ") == 5
    assert "427 of 2026-06-28" in words
    assert words.endswith("and 23 more")
