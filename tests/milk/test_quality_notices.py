"""What rings before milk is over a limit, each closing by itself; wiped, it comes out the same."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from config.models import Notice
from milk.models import LotFlag, LotTest
from milk.reference import load_reference
from milk.services import flags, holds
from tests.factories.milk import (
    bare_lot,
    make_delivery,
    make_lot_test,
    make_milking,
    make_tank,
    make_tank_event,
    stamp_at,
)

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 16, 10, 0, tzinfo=UTC)
DAY, HOUR = timedelta(days=1), timedelta(hours=1)


@pytest.fixture(autouse=True)
def reference(db: None) -> None:
    load_reference(stamp_at(NOW - 300 * DAY))


def result(value: Any, at: datetime, what: str = "cells", **fields: Any) -> LotTest:
    lot = fields.pop("lot", None) or bare_lot(
        opened_at=at - 2 * HOUR, ended_at=at + 10 * HOUR, kg=Decimal(1000)
    )
    return make_lot_test(lot=lot, what=what, value=value, at=at, **fields)


def run(at: datetime = NOW) -> dict[str, int]:
    return flags.flag_lots_over_limits(at=at)


def open_notices(prefix: str) -> list[Notice]:
    return list(Notice.objects.filter(closed_at=None, cause__startswith=prefix).order_by("id"))


def cells(*values: int) -> list[LotTest]:
    days = ((4, 6), (4, 20), (5, 6), (5, 20), (6, 3))
    return [
        result(value, datetime(2026, month, day, 8, tzinfo=UTC))
        for value, (month, day) in zip(values, days, strict=True)
    ]


def test_t13_the_next_result_may_be_501_and_rings_once() -> None:
    *_, last = cells(310, 350, 420, 390, 460)
    assert run()["near"] == 1
    assert run()["near"] == 1
    (notice,) = open_notices("near:")
    assert notice.role == "vet"
    assert "the next result must be 501 or less, the last was 460" in notice.what
    LotTest.objects.filter(pk=last.pk).update(
        struck_at=NOW, struck_by=last.by, struck_reason="quantity"
    )
    result(250, datetime(2026, 6, 4, 8, tzinfo=UTC))
    run()
    assert open_notices("near:") == []
    assert Notice.objects.filter(cause__startswith="near:").count() == 1


def test_a_mean_far_from_its_limit_rings_nobody() -> None:
    cells(210, 220, 230, 205, 215)
    assert run()["near"] == 0


def test_a_mean_over_says_by_when_it_must_be_mended() -> None:
    cells(310, 350, 520, 490, 660)
    run()
    (notice, _) = open_notices("mean:cells")
    assert "over since 2026-06-03; delivery is stopped from 2026-09-03" in notice.otherwise
    assert notice.url == "/milk/quality/"


@pytest.mark.parametrize(
    ("day", "roles"),
    [(19, set()), (20, {"office", "cheesemaker"}), (27, {"office", "cheesemaker", "vet"})],
)
def test_a_missing_sample_is_told_ten_and_three_days_before(day: int, roles: set[str]) -> None:
    result(20, datetime(2026, 6, 2, 8, tzinfo=UTC), "plate")
    result(210, datetime(2026, 6, 2, 8, tzinfo=UTC))
    run(datetime(2026, 6, day, 10, tzinfo=UTC))
    found = open_notices("quota:plate:EU 853/2004:2026-06")
    assert {notice.role for notice in found} == roles
    assert open_notices("quota:cells") == []
    if found:
        assert "plate count: 1 of 2 samples this month, 1 more by 2026-06-30" in found[0].what
        result(22, datetime(2026, 6, day, 9, tzinfo=UTC), "plate")
        run(datetime(2026, 6, day, 11, tzinfo=UTC))
        assert open_notices("quota:plate") == []


def test_samples_in_six_months_are_watched_where_the_scheme_asks(settings: Any) -> None:
    settings.ESTATE_SCHEMES = ["US PMO"]
    for month in (1, 3, 5):
        result(20, datetime(2026, month, 10, 8, tzinfo=UTC), "plate")
    run()
    (notice, *_) = open_notices("quota:plate:US PMO")
    assert "3 of 4 samples in 6 months, 1 more by 2026-06-16" in notice.what


def milk_in_tank(*, read: str | None = None, at: datetime = NOW - 4 * HOUR) -> Any:
    """A milking that ended three hours ago, and perhaps a temperature read an hour ago."""
    tank = make_tank(name="A")
    milking = make_milking(tank=tank, at=at, minutes=60, kg=3000)
    if read is not None:
        make_tank_event("temperature", tank=tank, at=NOW - HOUR, temperature=Decimal(read), kg=None)
    return milking.parts.get().lot


def test_milk_too_warm_rings_until_a_cooler_reading() -> None:
    lot = milk_in_tank(read="24.5")
    assert run()["warm or old"] == 1
    (notice,) = open_notices("warm:")
    assert notice.role == "cheesemaker"
    assert f"lot {lot}: 24.5 °C read at 2026-06-16 11:00" in notice.what
    assert "at most 20 °C 2 h after the end of milking (estate)" in notice.what
    make_tank_event("temperature", tank=lot.tank, at=NOW, temperature=Decimal(19), kg=None)
    run(NOW + HOUR)
    assert open_notices("warm:") == []


@pytest.mark.parametrize("read", ["20.0", None])
def test_milk_cool_enough_or_not_read_rings_nobody(read: str | None) -> None:
    milk_in_tank(read=read)
    assert run()["warm or old"] == 0


def test_warm_milk_is_told_before_it_is_too_old_and_until_it_is_used() -> None:
    lot = milk_in_tank(read="15", at=NOW - 23 * HOUR)
    run()
    (notice,) = open_notices("old:")
    assert notice.until == NOW + HOUR
    assert "is to be used by 2026-06-16 13:00 (estate)" in notice.what
    run(NOW + 3 * HOUR)
    (notice,) = open_notices("old:")
    assert "was to be used by" in notice.what
    make_tank_event("washed", tank=lot.tank, at=NOW + 4 * HOUR)
    run(NOW + 5 * HOUR)
    assert open_notices("old:") == []


def test_cold_milk_does_not_get_too_old() -> None:
    milk_in_tank(read="6", at=NOW - 30 * HOUR)
    assert run()["warm or old"] == 0


def test_carried_over_milk_makes_the_lot_as_old_as_its_oldest_milking() -> None:
    tank = make_tank(name="A")
    make_milking(tank=tank, at=NOW - 25 * HOUR, minutes=60, kg=3000)
    make_tank_event("drawn", tank=tank, at=NOW - 20 * HOUR, kg=2000)
    make_milking(tank=tank, at=NOW - 5 * HOUR, minutes=60, kg=3000)
    make_tank_event("temperature", tank=tank, at=NOW - HOUR, temperature=Decimal(15), kg=None)
    run()
    oldest = {notice.what.partition("began at ")[2][:16] for notice in open_notices("old:")}
    assert oldest == {"2026-06-15 11:00"}


def test_milk_that_arrives_warm(settings: Any) -> None:
    settings.ESTATE_SCHEMES = ["EU 853/2004 cooling"]
    for celsius, rings in ((Decimal("10.0"), 0), (Decimal("10.1"), 1)):
        make_delivery(at=NOW - HOUR, temperature=celsius)
        assert run()["warm or old"] == rings


@pytest.mark.parametrize("verdict", ["positive", "doubt"])
def test_an_inhibitor_test_rings_until_the_hold_is_gone(verdict: str, vet: Any) -> None:
    from_service = make_lot_test(
        lot=bare_lot(opened_at=NOW - 2 * HOUR), what="inhibitor", verdict=verdict, at=NOW - HOUR
    )
    holds.hold_for_inhibitor(from_service)
    told = Notice.objects.filter(closed_at=None, what__contains="inhibitor test of lot")
    assert {notice.role for notice in told} == {"cheesemaker", "vet"}
    holds.cause_gone(holds.cause_of_test(from_service), at=NOW, words="struck")
    assert not told.all().exists()


def derived() -> tuple[Any, ...]:
    """Every computed row of this job, without its number."""
    noticed = Notice.objects.filter(closed_at=None).values_list(
        "cause", "role", "what", "where", "otherwise", "url", "until"
    )
    flagged = LotFlag.objects.values_list("lot", "test", "limit", "words")
    return sorted(noticed, key=str), sorted(flagged)


def test_all_derived_rows_wiped_and_worked_out_again_are_the_same() -> None:
    cells(310, 350, 420, 390, 460)
    result(240, NOW - 2 * DAY, "plate")
    result(Decimal("0.051"), NOW - 3 * DAY, "aflatoxin")
    milk_in_tank(read="24.5", at=NOW - 23 * HOUR)
    run(NOW.replace(day=28))
    run()
    run(NOW)
    before = derived()
    assert {cause.partition(":")[0] for cause, *_ in before[0]} >= {"near", "over", "warm", "old"}
    assert len(before[1]) == 4
    LotFlag.objects.all().delete()
    Notice.objects.exclude(cause__startswith="hold").delete()
    run()
    assert derived() == before
    run()
    assert derived() == before
