"""A2: withheld cows in a group whose line goes to a tank, rung before its milking."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from config.models import Notice
from milk.models import MilkFigure
from milk.services.before_milking import look_before_milkings
from milk.tasks import look_before_milkings as job
from tests.factories import milk
from tests.factories.herd import (
    make_animal,
    make_course,
    make_dose,
    make_group,
    make_milking_time,
    put_in_group,
)

pytestmark = pytest.mark.django_db
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)
# 16:30 on the estate's clock.
STARTS = milk.EVENING


@pytest.fixture
def cow() -> Any:
    for what, value in (("check first", 45), ("check last", 10)):
        milk.plain(
            MilkFigure, STARTS - 100 * HOUR, None,
            what=what, value=Decimal(value), unit="min", valid_from="2026-01-01", source="invented",
        )  # fmt: skip
    cow, group = make_animal(1042), make_group(5, milked=False)
    put_in_group(cow, group)
    put_in_group(make_animal(1043), group)
    make_milking_time(group, session="E", starts="16:30", line="B")
    make_dose(make_course(cow, happened_at=STARTS - 10 * HOUR))
    return cow


def rung(at: Any) -> dict[str, list[str]]:
    look_before_milkings(at=at)
    found: dict[str, list[str]] = {}
    for notice in Notice.objects.filter(closed_at=None, cause__startswith="before-milking:"):
        found.setdefault(notice.cause.rpartition(":")[2], []).append(notice.role)
    return {turn: sorted(roles) for turn, roles in found.items()}


def test_twice_before_it_and_the_vet_when_it_begins(cow: Any) -> None:
    assert rung(STARTS - 46 * MINUTE) == {}
    assert rung(STARTS - 45 * MINUTE) == {"first": ["milker"]}
    assert rung(STARTS - 11 * MINUTE) == {"first": ["milker"]}
    assert rung(STARTS - 10 * MINUTE) == {"last": ["milker"]}
    assert rung(STARTS) == {"last": ["milker", "vet"]}
    words = Notice.objects.filter(closed_at=None)[0].what
    assert words.startswith("1042 may NOT go into the tank and stand in group 5, whose line goes")
    assert rung(STARTS + 2 * HOUR) == {}


def test_it_goes_when_she_is_moved(cow: Any) -> None:
    assert rung(STARTS - 20 * MINUTE) == {"first": ["milker"]}
    put_in_group(cow, make_group(12, milked=False, use="hospital"), since=STARTS - 15 * MINUTE)
    assert rung(STARTS - 12 * MINUTE) == {}


def test_it_goes_when_the_milking_is_over(cow: Any) -> None:
    assert rung(STARTS + 20 * MINUTE) == {"last": ["milker", "vet"]}
    group = cow.stays.get().group
    milk.make_milking(group=group, tank=milk.make_tank(name="B"), at=STARTS, minutes=30)
    assert rung(STARTS + 31 * MINUTE) == {}


@pytest.mark.parametrize("line", ["waste", "W"])
def test_nothing_for_a_group_on_the_waste_line(cow: Any, line: str) -> None:
    milk.make_tank(name="W", use="waste")
    group = cow.stays.get().group
    make_milking_time(group, session="E", starts="16:30", line=line, valid_from="2026-06-08")
    assert rung(STARTS) == {}


def test_a_line_nobody_wrote_may_go_to_a_tank(cow: Any) -> None:
    group = cow.stays.get().group
    make_milking_time(group, session="E", starts="16:30", line="", valid_from="2026-06-08")
    assert rung(STARTS - 5 * MINUTE) == {"last": ["milker"]}
    assert job(at=STARTS.isoformat()) == {"milkings": 1, "cows": 1}


def test_nothing_is_rung_where_nobody_set_the_times(cow: Any) -> None:
    assert look_before_milkings(at=STARTS - 400 * 24 * HOUR) == {"milkings": 0, "cows": 0}
