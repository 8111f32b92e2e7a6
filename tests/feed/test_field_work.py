"""Work on a field, and the day it is free again (C30)."""

from datetime import UTC, date, datetime

import pytest
from django.core.exceptions import ValidationError

from feed.models import Field, FieldWork
from feed.services.fields import record_work
from tests.factories.feed import make_field, make_work
from tests.factories.herd import DAY, NOON, make_stamp

pytestmark = pytest.mark.django_db


def test_days_count_after_the_day_of_work() -> None:
    work = record_work(
        stamp=make_stamp(at=datetime(2026, 4, 12, 8, tzinfo=UTC)),
        field=make_field(),
        what="slurry",
        waiting_days=42,
    )
    assert work.free_on == date(2026, 5, 24)


def test_day_of_work_is_the_estates_day() -> None:
    # 23:30 UTC on 11 April is 01:30 on the 12th on the estate's clock.
    work = record_work(
        stamp=make_stamp(at=datetime(2026, 4, 11, 23, 30, tzinfo=UTC)),
        field=make_field(),
        what="spray",
        waiting_days=21,
    )
    assert work.free_on == date(2026, 5, 3)


@pytest.mark.parametrize("days", [-1, 731])
def test_days_out_of_range_are_refused(days: int) -> None:
    with pytest.raises(ValidationError) as error:
        record_work(stamp=make_stamp(), field=make_field(), what="spray", waiting_days=days)
    assert "waiting_days" in error.value.message_dict
    assert not FieldWork.objects.exists()


def test_longest_wait_counts() -> None:
    field = make_field()
    make_work(field, waiting_days=42)
    make_work(field, what="spray", waiting_days=21)
    found = Field.objects.with_free_on(NOON + DAY, date(2026, 6, 3)).get()
    assert found.free_on == date(2026, 7, 14)


@pytest.mark.parametrize(("on", "free"), [(date(2026, 7, 13), False), (date(2026, 7, 14), True)])
def test_field_is_free_from_its_day(on: date, free: bool) -> None:
    make_work(waiting_days=42)
    found = Field.objects.with_free_on(NOON + 41 * DAY, on).get()
    assert (found.free_on is None) is free
