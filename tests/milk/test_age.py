"""The age of wheels: full months, days, and what a rule says on the very day."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from milk.age import AgeBound, age_said, full_months, months_later, old_enough_on, too_young

DAYS = st.dates(date(2000, 1, 1), date(2100, 12, 31))
MONTHS = st.integers(0, 120)
NAME = AgeBound("wheels sold under the name", 12, "months", "estate")
LAW = AgeBound("all wheels of raw milk", 60, "days", "a law")


@pytest.mark.parametrize(
    ("made", "months", "day"),
    [
        (date(2028, 2, 29), 12, date(2029, 3, 1)),
        (date(2028, 2, 29), 48, date(2032, 2, 29)),
        (date(2026, 1, 31), 1, date(2026, 3, 1)),
        (date(2026, 1, 31), 12, date(2027, 1, 31)),
        (date(2025, 10, 31), 13, date(2026, 12, 1)),
        (date(2026, 12, 15), 1, date(2027, 1, 15)),
        (date(2025, 6, 10), 0, date(2025, 6, 10)),
    ],
)
def test_months_later(made, months, day):
    assert months_later(made, months) == day
    assert full_months(made, day) == months
    if months:
        assert full_months(made, day - timedelta(days=1)) == months - 1


@given(DAYS, MONTHS)
def test_a_month_is_full_on_its_day_and_not_the_day_before(made, months):
    day = months_later(made, months)
    assert full_months(made, day) >= months
    assert months == 0 or full_months(made, day - timedelta(days=1)) < months


@given(DAYS, st.integers(0, 4000))
def test_full_months_is_the_slow_count(made, days):
    on = made + timedelta(days=days)
    slow = max(n for n in range(140) if months_later(made, n) <= on)
    assert full_months(made, on) == slow


@given(DAYS, DAYS, st.sampled_from([NAME, LAW]))
def test_too_young_until_the_very_day(made, on, bound):
    day = old_enough_on(made, bound.at_least, bound.unit)
    assert bool(too_young(made, on, [bound])) == (on < day)


def test_every_rule_is_said_with_its_day():
    said = too_young(date(2026, 6, 9), date(2026, 8, 7), [NAME, LAW])
    assert len(said) == 2
    assert "2027-06-09" in said[0]
    assert "2026-08-08" in said[1]
    assert too_young(date(2026, 6, 9), date(2026, 8, 8), [LAW]) == []


def test_age_in_words():
    assert age_said(date(2026, 6, 9), date(2026, 6, 10)) == "1 day old"
    assert age_said(date(2025, 6, 9), date(2026, 6, 10)) == "12 months old"
    assert full_months(date(2026, 6, 9), date(2026, 6, 1)) == 0
