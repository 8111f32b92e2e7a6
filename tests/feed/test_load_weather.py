"""A file of hourly air temperatures: taken in once, told apart, and what it does to the loads."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from feed.models import AirHour
from tests.factories.feed import make_batch, on_the_hour
from tests.factories.herd import HOUR, NOON, make_user
from tests.factories.loads import load, load_json

pytestmark = pytest.mark.django_db
DAY_ROWS = "hour;celsius\n" + "".join(
    f"2026-06-02 {hour:02}:00;{12 + min(hour, 26 - hour) / 2:.1f}\n" for hour in range(24)
)


@pytest.fixture(autouse=True)
def somebody() -> None:
    make_user("owner")


def test_a_day_of_hours_gives_its_loads_their_band() -> None:
    batch = make_batch(air_temperature=None)
    assert batch.deadline == NOON + 8 * HOUR
    assert load_json("air-hours", DAY_ROWS).counts == (24, 0, 0, 0)
    batch.refresh_from_db()
    assert batch.air_used == Decimal("18.5")
    assert batch.deadline == NOON + 18 * HOUR


def test_the_same_file_again_changes_nothing() -> None:
    load("air-hours", DAY_ROWS)
    assert load_json("air-hours", f"{DAY_ROWS}\n").counts == (0, 24, 0, 0)
    assert AirHour.objects.count() == 24


def test_a_changed_hour_is_written_again_when_asked() -> None:
    load("air-hours", DAY_ROWS)
    warmer = DAY_ROWS.replace("13:00;18.5", "13:00;23.0")
    assert load_json("air-hours", warmer).counts == (0, 23, 1, 0)
    assert not AirHour.objects.exclude(struck_at=None).exists()
    load("air-hours", warmer, "--take-changed")
    assert AirHour.objects.standing().get(hour=datetime(2026, 6, 2, 11, tzinfo=UTC)).celsius == 23
    assert AirHour.objects.exclude(struck_at=None).get().replaced_by is not None


def test_the_hour_that_comes_twice_is_two_hours() -> None:
    rows = "hour;celsius\n2025-10-26 02:00;9\n2025-10-26 02:00;8.5\n2025-10-26 03:00;8\n"
    assert load_json("air-hours", rows).counts == (3, 0, 0, 0)
    hours = AirHour.objects.order_by("hour").values_list("hour", flat=True)
    assert [hour.astimezone(UTC).hour for hour in hours] == [0, 1, 2]


def test_hours_ahead_are_a_forecast() -> None:
    ahead = on_the_hour(timezone.now()) + timedelta(days=2)
    rows = f"hour;celsius\n{ahead.isoformat()};21\n"
    assert load_json("air-hours", rows).counts == (1, 0, 0, 0)
    assert AirHour.objects.get().forecast


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("2026-06-02;18", "expected the day and the hour"),
        ("2026-06-02 10:20;18", "no full hour"),
        ("2026-06-02 10:00;81", "-40 to 55"),
        ("2026-03-29 02:00;9", "clock"),
        ("2026-06-02 10:00;18\n2026-06-02 10:00;19", "each hour once"),
    ],
)
def test_strange_rows_are_named_and_nothing_is_written(row: str, words: str) -> None:
    refused = load("air-hours", f"hour;celsius\n{row}\n")
    assert refused.code != 0
    assert words in refused.out + refused.err
    assert not AirHour.objects.exists()
