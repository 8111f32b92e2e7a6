"""Limits of raw milk against the texts that set them.

Sources:
- EU: Regulation (EC) 853/2004, Annex III, Section IX, Chapter I, Part III, 3(a)(i): cow's milk,
  plate count at 30 °C at most 100,000 per ml, rolling geometric average over two months, at least
  two samples a month; somatic cells at most 400,000 per ml, rolling geometric average over three
  months, at least one sample a month. Read as quoted in full by a secondary source.
- US: so many of the last results: Oklahoma Statutes 2-7-409 and South Dakota 12:17:02:13 (two of
  the last four: notice), South Dakota 12:17:02:13 and 7 Pa. Code 59a.409 (three of the last five:
  suspension); 100,000 bacteria per ml for a single producer: Pasteurized Milk Ordinance, Table 1,
  as printed in a textbook.
- Worked means were computed by hand from these rules, to be checked with logarithm tables.
"""

import statistics
from datetime import date
from decimal import Decimal

import pytest

from milk import limits
from milk.limits import Bound, LastRule, MeanRule, Outcome, Sample

EU_PLATE = MeanRule(
    at_most=Decimal(100_000), unit="per ml", scheme="EU 853/2004", months=2, samples_a_month=2
)
EU_CELLS = MeanRule(
    at_most=Decimal(400_000), unit="per ml", scheme="EU 853/2004", months=3, samples_a_month=1
)
PLATE_DAYS = [date(2026, 5, 6), date(2026, 5, 20), date(2026, 6, 3), date(2026, 6, 17)]
CELL_DAYS = [date(2026, 4, 8), date(2026, 5, 6), date(2026, 6, 3)]
DAY = date(2026, 6, 30)


def series(days: list[date], results: list[int]) -> list[Sample]:
    return [
        Sample(taken_on=day, value=Decimal(result))
        for day, result in zip(days, results, strict=True)
    ]


@pytest.mark.parametrize(
    ("results", "mean", "outcome"),
    [
        # The plain mean, 102,500, would fail.
        ([40_000, 160_000, 90_000, 120_000], "91180", Outcome.WITHIN),
        # Product 10^20: the mean is the limit itself, and "at most" lets it pass.
        ([64_000, 125_000, 80_000, 156_250], "100000", Outcome.WITHIN),
        ([64_000, 125_000, 80_000, 156_251], "100000", Outcome.OVER),
        # One spike is damped; a single result must still be shown.
        ([20_000, 20_000, 20_000, 900_000], "51800", Outcome.WITHIN),
    ],
)
def test_eu_plate_count(results: list[int], mean: str, outcome: Outcome) -> None:
    verdict = limits.judge_mean(series(PLATE_DAYS, results), EU_PLATE, DAY)
    assert verdict.outcome is outcome
    assert verdict.mean is not None
    assert round(verdict.mean) == int(mean)


def test_floats_would_have_failed_the_mean_at_the_limit() -> None:
    results = [64_000, 125_000, 80_000, 156_250]
    assert statistics.geometric_mean(results) == pytest.approx(100_000)
    assert limits.geometric_mean([Decimal(result) for result in results]) == 100_000


def test_eu_cell_count_over() -> None:
    verdict = limits.judge_mean(series(CELL_DAYS, [380_000, 410_000, 450_000]), EU_CELLS, DAY)
    assert verdict.outcome is Outcome.OVER
    assert verdict.mean is not None
    assert round(verdict.mean) == 412_344
    assert [sample.value for sample in verdict.blamed] == [410_000, 450_000]


def test_eu_too_few_samples_say_nothing() -> None:
    one_in_june = series(PLATE_DAYS[:3], [900_000, 900_000, 900_000])
    assert limits.judge_mean(one_in_june, EU_PLATE, DAY).outcome is Outcome.NOT_VALID


@pytest.mark.parametrize(
    ("results", "limit", "expected"),
    [
        # 40 x 60 x 250 x 80 = 48,000,000, fourth root 83.2; with 600 the fifth root is 123.6.
        ([40, 60, 250, 80], 100, "within"),
        ([40, 60, 250, 80, 600], 100, "over"),
    ],
)
def test_worked_plate_counts_in_thousands(results: list[int], limit: int, expected: str) -> None:
    values = [Decimal(result) for result in results]
    within = limits.mean_within(values, Decimal(limit))
    assert ("within" if within else "over") == expected
    assert round(limits.geometric_mean(values)) == round(statistics.geometric_mean(results))


def test_worked_next_result() -> None:
    # 400^6 / (310 x 350 x 420 x 390 x 460) = 501.03
    cells = [Decimal(result) for result in (310, 350, 420, 390, 460)]
    assert limits.next_allowed(cells, Decimal(400)) == 501


@pytest.mark.parametrize(
    ("results", "times", "of_last", "over"),
    [
        ([90_000, 110_000, 90_000, 110_000], 2, 4, True),
        ([110_000, 90_000, 110_000, 90_000, 110_000], 3, 5, True),
        ([100_000, 100_000, 100_000, 100_001], 2, 4, False),
        ([100_000, 100_000, 100_000, 100_000, 100_000], 3, 5, False),
    ],
)
def test_us_so_many_of_the_last(results: list[int], times: int, of_last: int, over: bool) -> None:
    days = [date(2026, 5, 1 + n) for n in range(len(results))]
    rule = LastRule(
        bound=Bound(at_most=Decimal(100_000), unit="per ml", scheme="US PMO"),
        times=times,
        of_last=of_last,
    )
    assert limits.judge_last(series(days, results), rule, DAY).is_over is over
