"""The job that flags results over limits and rings for means; run again it is the same."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from config.models import JobRun, Notice
from herd.models import Holding
from milk.judging import standings
from milk.models import Hold, Limit, LotFlag, LotTest
from milk.reference import load_reference
from milk.services import flags, limits
from milk.tasks import flag_lots_over_limits
from tests.factories.milk import (
    bare_lot,
    make_buyer,
    make_delivery,
    make_lot_test,
    make_tank,
    stamp_at,
)

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 30, 10, 0, tzinfo=UTC)
DAY = timedelta(days=1)


@pytest.fixture(autouse=True)
def reference(db: None) -> None:
    load_reference(stamp_at(NOW - 300 * DAY))


def result(value: Any, days_ago: int, what: str = "plate", **fields: Any) -> LotTest:
    at = NOW - days_ago * DAY
    lot = fields.pop("lot", None) or bare_lot(opened_at=at - timedelta(hours=2))
    return make_lot_test(lot=lot, what=what, value=value, at=at, **fields)


def plates(*values: Any) -> list[LotTest]:
    """Plate counts of 6 and 20 May and 4 and 18 June, and further ones of the last days of June."""
    return [result(value, ago) for value, ago in zip(values, (55, 41, 26, 12, 8, 4), strict=False)]


def run(**options: Any) -> dict[str, int]:
    return flags.flag_lots_over_limits(at=options.pop("at", NOW), **options)


def flagged() -> list[tuple[Any, ...]]:
    return sorted(LotFlag.objects.values_list("test", "limit", "lot", "words"))


def causes() -> set[str]:
    return set(Notice.objects.filter(closed_at=None).values_list("cause", flat=True))


def mean_of(what: str, producer: str = "our own milk") -> Any:
    found = [one for one in standings(NOW) if (one.limit.what, one.producer) == (what, producer)]
    assert len(found) == 1
    return found[0].verdict


def test_single_results_over_are_flagged_and_only_they() -> None:
    plates(40, 60, 250, 80)
    assert run()["flags"] == 1
    assert flagged()[0][3] == (
        "plate count over: 250 of 2026-06-04, at most 100 thousand per ml (estate)"
    )


def test_flags_wiped_and_worked_out_again_are_the_same() -> None:
    plates(40, 160, 250, 80)
    result(Decimal("0.071"), 3, "aflatoxin")
    run()
    before = flagged()
    assert len(before) == 3
    LotFlag.objects.all().delete()
    run()
    assert flagged() == before
    assert run()["flags"] == 3
    assert flagged() == before


def test_a_mean_within_rings_nobody() -> None:
    plates(40, 60, 250, 80)
    run()
    assert mean_of("plate").outcome == "within"
    assert not any(cause.startswith("mean:plate") for cause in causes())


def test_a_mean_over_rings_the_vet_and_the_cheesemaker_until_it_is_not() -> None:
    *_, worst = plates(40, 60, 250, 80, 600)
    run()
    assert "mean:plate:EU 853/2004" in causes()
    notices = Notice.objects.filter(cause="mean:plate:EU 853/2004")
    assert set(notices.values_list("role", flat=True)) == {"vet", "cheesemaker"}
    assert "124, limit 100" in notices[0].what
    assert "600 of 2026-06-22" in notices[0].what
    assert "authority" in notices[0].otherwise
    run()
    assert notices.count() == 2
    LotTest.objects.filter(pk=worst.pk).update(
        struck_at=NOW, struck_by=worst.by, struck_reason="quantity"
    )
    run()
    assert not causes() & {"mean:plate:EU 853/2004"}


def test_a_mean_that_is_not_valid_is_no_alarm() -> None:
    result(900, 70, "cells")
    result(900, 10, "cells")
    run()
    assert mean_of("cells").words.startswith("not valid, May missing")
    assert not any(cause.startswith("mean:") for cause in causes())


def test_our_milk_without_any_result_is_told_as_not_valid() -> None:
    assert mean_of("plate").outcome == "not valid"


def test_a_suppliers_milk_has_a_mean_of_its_own() -> None:
    plates(40, 60, 50, 80)
    tank = make_tank()
    for ago in (55, 41, 26, 12):
        at = NOW - ago * DAY
        delivery = make_delivery(tank=tank, at=at - timedelta(hours=1), holding=supplier())
        lot = delivery.opened_lots.get()
        result(400, ago, lot=lot)
    run()
    assert mean_of("plate").outcome == "within"
    assert mean_of("plate", "Hill Farm").outcome == "over"
    assert "mean:plate:EU 853/2004:Hill Farm" in causes()
    assert "mean:plate:EU 853/2004" not in causes()


def supplier() -> Any:
    from_before = Holding.objects.filter(name="Hill Farm").first()
    return from_before or make_buyer(name="Hill Farm")


def test_a_new_result_over_rings_for_a_week() -> None:
    test = result(240, 2)
    run()
    assert f"over:{test.uuid}" in causes()
    run(at=NOW + 6 * DAY)
    assert f"over:{test.uuid}" not in causes()
    assert LotFlag.objects.filter(test=test).exists()


def test_a_limit_counts_from_its_day_on() -> None:
    old, new = result(80, 40), result(80, 10)
    limits.record_limit(
        stamp=stamp_at(NOW - 20 * DAY),
        what="plate",
        of="single",
        at_most=Decimal(50),
        scheme="estate",
        valid_from=date(2026, 6, 10),
        source="own rule of the cheesemaker",
    )
    run()
    assert {row[0] for row in flagged()} == {new.pk}
    assert old.pk != new.pk


def test_striking_a_limit_brings_the_one_before_it_back(vet: Any) -> None:
    test = result(80, 10)
    strict = limits.record_limit(
        stamp=stamp_at(NOW - 20 * DAY),
        what="plate",
        of="single",
        at_most=Decimal(50),
        scheme="estate",
        valid_from=date(2026, 6, 10),
        source="own rule",
    )
    run()
    assert {row[0] for row in flagged()} == {test.pk}
    limits.strike_limit(strict, by=vet, reason="quantity")
    run()
    assert flagged() == []


def test_so_many_of_the_last_results(settings: Any) -> None:
    settings.ESTATE_SCHEMES = ["US PMO"]
    for value, ago in ((90, 40), (110, 30), (90, 20), (110, 10)):
        result(value, ago)
    run()
    assert "last:plate:US PMO:2 of 4" in causes()
    assert "last:plate:US PMO:3 of 5" not in causes()


def test_a_contaminant_is_held_by_the_job_too_and_let_go_when_it_is_not_over(vet: Any) -> None:
    result(Decimal("0.071"), 3, "aflatoxin")
    run()
    assert Hold.objects.open().get().reason == "limit"
    run()
    assert Hold.objects.count() == 1
    limits.strike_limit(Limit.objects.get(what="aflatoxin"), by=vet, reason="quantity")
    run()
    assert not Hold.objects.open().exists()


def test_old_results_are_judged_when_they_arrive_late() -> None:
    result(300, 200, received_at=NOW - DAY)
    unseen = result(300, 201)
    run()
    assert unseen.pk not in {row[0] for row in flagged()}
    assert len(flagged()) == 1
    run(since=date(2025, 12, 1))
    assert len(flagged()) == 2


def test_the_task_keeps_a_row_of_its_run() -> None:
    plates(40, 60, 250, 80)
    counted = flag_lots_over_limits(at=NOW.isoformat(), since="2026-05-01")
    row = JobRun.objects.get()
    assert (row.name, row.counted, row.error) == (
        "milk.tasks.flag_lots_over_limits",
        counted,
        "",
    )
    assert counted["tests"] == 4
