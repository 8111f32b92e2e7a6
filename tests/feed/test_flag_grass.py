"""The job that rings for cut grass: past, feed first, no rule, cut too early."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from celery import current_app
from django.utils import timezone

from config.models import JobRun, Notice
from feed.models import WindowRule
from feed.services.batches import record_batch, strike_batch
from feed.services.deadlines import FLAG_TASK
from feed.services.discards import record_discard, strike_discard
from feed.services.feedings import record_feeding, strike_feeding
from feed.services.fields import record_work
from feed.services.heaps import record_heap_check
from feed.services.notices import flag
from feed.services.rules import strike_rule
from feed.tasks import flag_grass_past_window
from tests.factories.feed import (
    make_batch,
    make_discard,
    make_fed_group,
    make_feed_lot,
    make_feeding,
    make_field,
    make_heap_check,
    make_stack_check,
    make_work,
)
from tests.factories.herd import DAY, HOUR, NOON, make_stamp, make_user

pytestmark = pytest.mark.django_db


def ringing() -> set[tuple[str, str]]:
    rows = Notice.objects.filter(closed_at=None).values_list("cause", "role")
    return {(cause.rpartition(":")[0], role) for cause, role in rows}


def test_load_past_its_window_rings_the_feed_hand_then_the_vet() -> None:
    batch = make_batch()
    assert flag(NOON + 12 * HOUR)["past"] == 1
    notice = Notice.objects.get()
    assert (notice.cause, notice.role) == (f"grass:past:{batch.uuid}", "feed hand")
    assert notice.what == (
        f"Discard load {batch.pk}, {batch.field}: 9,000 kg left, past since Wed 3 Jun, 00:00."
    )
    assert notice.url == f"/feed/batches/{batch.uuid}/"
    assert notice.until == batch.deadline
    flag(NOON + 12 * HOUR + timedelta(minutes=15))
    assert ringing() == {("grass:past", "feed hand"), ("grass:past", "vet")}


@pytest.mark.parametrize(
    ("hours", "rings"),
    [
        (6.99, set()),
        (7, {("grass:first", "feed hand")}),
        (9, {("grass:first", "feed hand")}),
        (11.99, {("grass:first", "feed hand")}),
        (12, {("grass:past", "feed hand")}),
    ],
)
def test_rings_by_the_hour(hours: float, rings: set[tuple[str, str]]) -> None:
    make_batch()
    flag(NOON + hours * HOUR)
    assert ringing() == rings


def test_feed_first_closes_when_the_load_is_past() -> None:
    make_batch()
    flag(NOON + 9 * HOUR)
    flag(NOON + 12 * HOUR)
    assert ringing() == {("grass:past", "feed hand")}


# T36
def test_hot_heap_rings_before_the_clock_does() -> None:
    batch = make_batch()
    record_heap_check(
        stamp=make_stamp(at=NOON + 7 * HOUR), batch=batch, heap=Decimal(35), air=Decimal(26)
    )
    flag(NOON + 7 * HOUR)
    assert "found heated at Tue 2 Jun, 19:00" in Notice.objects.get().what


@pytest.mark.parametrize("make", [make_feeding, make_discard])
def test_ring_stops_when_nothing_is_left(make: Any) -> None:
    batch = make_batch(kg=Decimal(900))
    flag(NOON + 13 * HOUR)
    make(batch, kg=Decimal(900), happened_at=NOON + 13 * HOUR)
    flag(NOON + 13 * HOUR)
    assert ringing() == set()
    assert Notice.objects.filter(closed_at=NOON + 13 * HOUR).count() == 2


def test_ring_stops_when_the_load_is_struck() -> None:
    batch = make_batch()
    flag(NOON + 13 * HOUR)
    strike_batch(batch, by=make_user(), reason="twice")
    flag(NOON + 13 * HOUR)
    assert ringing() == set()


def test_struck_discard_rings_again() -> None:
    batch = make_batch(kg=Decimal(900))
    discard = make_discard(batch, kg=Decimal(900), happened_at=NOON + HOUR)
    strike_discard(discard, by=make_user(), reason="twice")
    flag(NOON + 13 * HOUR)
    assert ("grass:past", "vet") in ringing()


def test_twice_gives_the_same_rows() -> None:
    make_batch()
    make_batch(happened_at=NOON + 3 * HOUR)
    first = flag(NOON + 13 * HOUR)
    rows = list(Notice.objects.order_by("pk").values())
    assert flag(NOON + 13 * HOUR) == first
    assert list(Notice.objects.order_by("pk").values()) == rows


def test_wiped_and_flagged_again_is_the_same() -> None:
    make_batch()
    make_batch(happened_at=NOON + 3 * HOUR)
    flag(NOON + 9 * HOUR)
    before = flag(NOON + 13 * HOUR)
    Notice.objects.all().delete()
    # What must be done is the same; what rings alone depends on what rang in the shift already.
    assert flag(NOON + 13 * HOUR) == before
    assert ringing() == {
        ("grass:past", "feed hand"),
        ("grass:first", "feed hand"),
        ("grass:past", "vet"),
    }


def test_load_without_a_rule_asks_for_one() -> None:
    make_batch(deadline=None)
    flag(NOON + HOUR)
    assert ringing() == {("grass:no-rule", "feed hand"), ("grass:no-rule", "vet")}


def test_work_written_late_rings_for_the_load_cut_meanwhile() -> None:
    batch = make_batch()
    flag(NOON + HOUR)
    assert ringing() == set()
    record_work(
        stamp=make_stamp(at=NOON - 9 * DAY), field=batch.field, what="spray", waiting_days=21
    )
    flag(NOON + 2 * HOUR)
    assert ringing() == {("grass:early", "vet")}


def test_early_cut_with_the_vets_reason_is_quiet() -> None:
    field = make_field()
    make_work(field, happened_at=NOON - 9 * DAY)
    make_batch(field, early_reason="only the far strip had slurry")
    flag(NOON + HOUR)
    assert ringing() == set()


def test_notices_of_others_are_left_alone() -> None:
    Notice.objects.create(cause="late-dose:1", role="vet", what="x")
    flag(NOON)
    assert ringing() == {("late-dose", "vet")}


def test_sweep_of_open_loads_is_a_handful_of_statements(
    django_assert_num_queries: Any,
) -> None:
    for hours in range(3):
        make_batch(happened_at=NOON - hours * HOUR)
    # The loads with their feedings, probes and dry matter, the rules, and each role's notices once.
    with django_assert_num_queries(24):
        flag(NOON + HOUR)


def test_task_has_its_name_and_leaves_a_run() -> None:
    now = timezone.now()
    make_batch(happened_at=now - 13 * HOUR)
    assert flag_grass_past_window()["past"] == 1
    run = JobRun.objects.get()
    assert (run.name, run.error, run.counted["past"]) == (FLAG_TASK, "", 1)
    assert run.ended_at is not None
    assert FLAG_TASK in current_app.tasks


def test_job_is_asked_for_when_the_change_is_written(
    monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Any
) -> None:
    asked: list[str] = []
    monkeypatch.setattr("config.jobs.send", lambda name, args: asked.append(name))
    with django_capture_on_commit_callbacks(execute=True):
        record_batch(stamp=make_stamp(), field=make_field(), kg=Decimal(900))
        assert asked == []
    assert asked == [FLAG_TASK]


def test_every_change_asks_for_the_job(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    for module in ("deadlines", "fields", "rules"):
        monkeypatch.setattr(f"feed.services.{module}.ask", asked.append)
    at, why = make_stamp(at=NOON + HOUR), {"by": make_user(), "reason": "twice"}
    batch = make_batch()
    feeding, group = make_feeding(batch), make_fed_group()
    changes = (
        lambda: record_batch(stamp=make_stamp(), field=make_field(), kg=Decimal(900)),
        lambda: record_heap_check(stamp=at, batch=batch, heap=Decimal(20), air=Decimal(18)),
        lambda: record_feeding(stamp=at, batch=batch, group=group, kg=Decimal(1)),
        lambda: record_discard(
            stamp=at, batch=batch, kg=Decimal(1), why="other", where_to="digester"
        ),
        lambda: record_work(stamp=at, field=batch.field, what="manure", waiting_days=1),
        lambda: strike_feeding(feeding, **why),
        lambda: strike_batch(make_batch(), **why),
        lambda: strike_rule(WindowRule.objects.first(), **why),
    )
    for number, change in enumerate(changes, start=1):
        change()
        assert asked == [FLAG_TASK] * number


def test_more_than_a_shifts_rings_are_bundled() -> None:
    batches = [make_batch(happened_at=NOON - hours * HOUR) for hours in range(4)]
    at = NOON + 12 * HOUR
    assert flag(at)["past"] == 4
    mine = Notice.objects.filter(closed_at=None, role="feed hand")
    assert mine.count() == 3
    bundle = mine.get(cause__startswith="grass:more:")
    assert bundle.what.startswith("2 more things at the fence: Discard load")
    assert bundle.url == "/feed/board/"
    flag(at + timedelta(minutes=20))
    assert mine.count() == 3
    assert Notice.objects.filter(role="feed hand").count() == 3
    for batch in batches:
        make_discard(batch, kg=Decimal(9000), happened_at=at + HOUR)
    flag(at + HOUR)
    assert not mine.exists()


def test_a_bundle_opens_again_without_a_ring() -> None:
    batches = [make_batch(happened_at=NOON - hours * HOUR) for hours in range(3)]
    at = NOON + 12 * HOUR
    flag(at)
    bundled = Notice.objects.get(cause__startswith="grass:more:", role="feed hand")
    discard = make_discard(batches[0], kg=Decimal(9000), happened_at=at)
    flag(at + timedelta(minutes=5))
    strike_discard(discard, by=make_user(), reason="twice")
    make_batch(happened_at=NOON - 5 * HOUR)
    flag(at + timedelta(minutes=10))
    assert Notice.objects.filter(role="feed hand", raised_at__gte=at).count() == 3
    bundled.refresh_from_db()
    assert bundled.closed_at is None


def test_heating_heap_rings_before_it_is_hot() -> None:
    batch = make_batch()
    make_heap_check(batch, heap=Decimal(28), air=Decimal(24), happened_at=NOON + 2 * HOUR)
    flag(NOON + 2 * HOUR)
    assert ringing() == {("grass:heating", "feed hand")}
    assert "28 °C in air of 24 °C" in Notice.objects.get().what
    make_heap_check(batch, heap=Decimal(26), air=Decimal(24), happened_at=NOON + 3 * HOUR)
    flag(NOON + 3 * HOUR)
    assert ringing() == set()


def test_leftovers_of_yesterday_ring_when_grass_of_today_is_fed() -> None:
    old = make_batch(air_temperature=Decimal(10), happened_at=NOON)
    flag(NOON + 17 * HOUR)
    assert ("grass:left", "feed hand") not in ringing()
    new = make_batch(happened_at=NOON + 17 * HOUR)
    make_feeding(new, happened_at=NOON + 17 * HOUR)
    flag(NOON + 17 * HOUR + timedelta(minutes=30))
    left = Notice.objects.get(cause=f"grass:left:{old.uuid}")
    assert "9,000 kg" in left.what
    make_discard(old, kg=Decimal(9000), happened_at=NOON + 18 * HOUR)
    flag(NOON + 18 * HOUR)
    left.refresh_from_db()
    assert left.closed_at is not None


def test_warm_stack_rings_until_it_is_cool() -> None:
    lot = make_feed_lot()
    make_stack_check(lot, 52, happened_at=NOON)
    flag(NOON)
    assert ringing() == {("grass:stack", "feed hand"), ("grass:stack", "vet")}
    make_stack_check(lot, 30, happened_at=NOON + DAY)
    flag(NOON + DAY)
    assert ringing() == set()
