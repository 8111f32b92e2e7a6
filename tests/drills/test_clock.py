"""A clock that jumps: jobs go on, the pages say what they do not know, entries are kept."""

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from celery.beat import PersistentScheduler
from django.utils import timezone

from config import tasks
from config.beat import Clock
from config.celery import app
from config.models import JobRun
from config.running.checks import map_jobs
from config.running.jobs import schedule
from config.seals import sealing
from feed.models import Field
from tests.cast import Api, Pages, text

HOURS = timedelta(hours=3)
FLAG = "milk.tasks.flag_withheld_milk"


def asked_by(kind: type[PersistentScheduler], path: Path, jump: timedelta) -> set[str]:
    """The jobs a clock asks for at once, when all of them ran just before the clock jumped."""
    clock = kind(app=app, schedule_filename=str(path), max_interval=1)
    asked: set[str] = set()

    def take(entry: Any, **_: Any) -> None:
        asked.add(entry.task)

    clock.apply_async = take  # type: ignore[method-assign,assignment]
    for entry in clock.schedule.values():
        entry.last_run_at = entry.default_now() - jump
    for _ in range(3 * len(app.conf.beat_schedule)):
        clock.tick()
    clock.close()
    return asked


def test_a_clock_that_is_set_back_stops_no_job(tmp_path: Path) -> None:
    everything = {entry["task"] for entry in app.conf.beat_schedule.values()}
    assert asked_by(Clock, tmp_path / "ours", -HOURS) == everything
    # Celery's own would ring for nothing until the old time is reached again.
    assert asked_by(PersistentScheduler, tmp_path / "celery", -HOURS) == set()


def test_a_clock_that_jumps_ahead_asks_for_what_is_due(tmp_path: Path) -> None:
    due = {task for task, (_, every) in schedule().items() if every <= HOURS}
    assert asked_by(Clock, tmp_path / "ahead", HOURS) == due
    assert asked_by(Clock, tmp_path / "not at all", timedelta()) == set()


@pytest.mark.django_db
def test_a_run_that_has_not_come_yet_is_no_run() -> None:
    now = timezone.now()
    for name in schedule():
        JobRun.objects.create(name=name, started_at=now - HOURS, ended_at=now - HOURS)
        JobRun.objects.create(name=name, started_at=now + HOURS, ended_at=now + HOURS)
    said = {check.key: check for check in map_jobs(now)}
    flagging = said[f"job:{FLAG}"]
    assert not flagging.is_well
    assert flagging.says == "ran 3 hours ago, and should run every 5 minutes."
    JobRun.objects.create(name=FLAG, started_at=now, ended_at=now)
    assert {check.key: check for check in map_jobs(now)}[f"job:{FLAG}"].is_well


def field_of(at: datetime) -> dict[str, Any]:
    return {"name": f"Field {uuid4()}", "hectares": "3", "happened_at": at.isoformat()}


@pytest.mark.django_db
def test_what_was_written_by_a_wrong_clock_is_kept_and_can_be_struck(
    office_api: Api, office_client: Pages, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = timezone.now
    key, ahead = str(uuid4()), field_of(real() + HOURS)
    with monkeypatch.context() as jumped:
        jumped.setattr(timezone, "now", lambda: real() + HOURS)
        first = office_api.post("/api/fields/", ahead, key=key)
        assert first.status_code == 201
    # The clock is right again: the same again is the same, a new one of that hour is refused.
    assert office_api.post("/api/fields/", ahead, key=key).json() == first.json()
    refused = office_api.post("/api/fields/", field_of(real() + HOURS))
    assert refused.status_code == 400
    assert "has not come yet" in refused.json()["detail"]
    assert office_api.post("/api/fields/", field_of(real())).status_code == 201
    assert Field.objects.count() == 2
    for path in ("/entries/fields/", "/feed/fields/", f"/entries/fields/{first.json()['id']}/"):
        page = office_client.get(path)
        assert page.status_code == 200
        assert ahead["name"] in text(page)
    strike = office_api.post(f"/api/fields/{first.json()['id']}/strike/", {"reason": "time"})
    assert strike.status_code == 200
    assert Field.objects.standing().count() == 1


@pytest.mark.django_db
def test_a_clock_that_jumps_days_ahead_seals_no_day_that_is_not_over(
    office_api: Api, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = timezone.now
    assert office_api.post("/api/fields/", field_of(real())).status_code == 201
    tasks.seal_days()
    with monkeypatch.context() as jumped:
        jumped.setattr(timezone, "now", lambda: real() + timedelta(days=2))
        assert tasks.seal_days() == {"days": 0}
    JobRun.objects.create(name=tasks.SEAL_JOB, started_at=real() + timedelta(days=2))
    # Put right within the hour: what is written now belongs to a day that is still open.
    assert office_api.post("/api/fields/", field_of(real())).status_code == 201
    assert sealing.check().faults == []
    # A clock that has gone on for an hour is believed.
    with monkeypatch.context() as later:
        later.setattr(timezone, "now", lambda: real() + timedelta(days=2, hours=1))
        assert tasks.seal_days()["days"] > 0
    assert sealing.check().faults == []
