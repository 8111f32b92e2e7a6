"""Which backups stay, and when the next is due."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.backup.rotation import is_due, kept

NIGHTLY = [datetime(2024, 1, 1, 2, tzinfo=UTC) + timedelta(days=day) for day in range(800)]
moments = st.lists(
    st.integers(0, 4000).map(lambda days: NIGHTLY[0] + timedelta(days=days)), max_size=60
)
few = st.integers(0, 6)


def test_two_years_of_nights_leave_days_weeks_and_months() -> None:
    stay = sorted(kept(NIGHTLY, daily=7, weekly=4, monthly=12))

    # 2024-01-01 + 799 days is Tuesday 2026-03-10: 7 days, and Sundays 8 and 1 March, 22 February
    # among the weeks (the newest week ends with the newest day), then the last day of 11 months.
    assert [moment.date().isoformat() for moment in stay][-10:] == [
        "2026-02-22",
        "2026-02-28",
        "2026-03-01",
        "2026-03-04",
        "2026-03-05",
        "2026-03-06",
        "2026-03-07",
        "2026-03-08",
        "2026-03-09",
        "2026-03-10",
    ]
    assert [moment.date().isoformat() for moment in stay][:3] == [
        "2025-04-30",
        "2025-05-31",
        "2025-06-30",
    ]
    assert len(stay) == 7 + 2 + 11


@given(moments, few, few, few)
def test_the_newest_stays_and_nothing_is_invented(
    made: list[datetime], daily: int, weekly: int, monthly: int
) -> None:
    stay = kept(made, daily=daily, weekly=weekly, monthly=monthly)

    assert stay <= set(made)
    assert not made or max(made) in stay
    assert len(stay) <= daily + weekly + monthly + 1


@given(moments, few, few, few)
def test_rotating_twice_removes_nothing_more(
    made: list[datetime], daily: int, weekly: int, monthly: int
) -> None:
    rule = {"daily": daily, "weekly": weekly, "monthly": monthly}
    stay = kept(made, **rule)

    assert kept(stay, **rule) == stay


VIENNA = ZoneInfo("Europe/Vienna")


def at(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=VIENNA)


@pytest.mark.parametrize(
    ("last", "now", "due"),
    [
        (None, at(2026, 6, 3, 0, 1), True),
        (at(2026, 6, 2, 2, 0), at(2026, 6, 3, 1, 59), False),
        (at(2026, 6, 2, 2, 0), at(2026, 6, 3, 2, 0), True),
        (at(2026, 6, 3, 2, 0), at(2026, 6, 3, 23, 59), False),
        # The machine was off for a week.
        (at(2026, 5, 25, 2, 0), at(2026, 6, 3, 1, 0), True),
        # The night the clock goes forward has no two o'clock.
        (at(2026, 3, 28, 2, 0), at(2026, 3, 29, 3, 0), True),
    ],
)
def test_it_is_due_once_its_hour_has_struck(
    last: datetime | None, now: datetime, due: bool
) -> None:
    assert is_due(last, now, 2) is due
