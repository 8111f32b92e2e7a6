"""A broker that is away for an hour, and a worker of an older version, both of them real.

Alarms come late, which the pages say; no entry waits, none is refused, and none is lost.
"""

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from celery import current_app
from django.conf import settings
from django.db import connection
from django.db.models import F
from django.utils import timezone

from config import jobs
from config.embedded import serve, valkey
from config.embedded.keeper import PROJECT
from config.models import JobRun
from milk.models import Hold
from tests.cast import Api, Pages, text
from tests.drills.faults import address_of
from tests.drills.service import Program, wait_for
from tests.factories import milk
from tests.factories.herd import make_animal, make_group, make_medicine, put_in_group

pytestmark = pytest.mark.django_db(transaction=True)

HOUR = timedelta(hours=1)
FLAG = "milk.tasks.flag_withheld_milk"
# A write must not wait for the broker: twice its patience, and the work itself on a busy machine.
AT_MOST_SECONDS = 12


class Background:
    """A broker and a worker on the test database."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(exist_ok=True)
        self.url = valkey.url(folder)
        self.broker = Program("valkey", self.begin_broker, folder / "broker.log")
        self.worker = Program("worker", self.begin_worker, folder / "worker.log")

    def begin_broker(self, log: Any) -> subprocess.Popen[bytes]:
        return valkey.Valkey().start(self.folder, {}, log)

    def begin_worker(self, log: Any) -> subprocess.Popen[bytes]:
        celery = ["-m", "celery", "--quiet", "-A", "config.celery", "worker"]
        celery += ["--loglevel", "WARNING", "--concurrency", "1"]
        return subprocess.Popen(
            [sys.executable, *serve.WARNINGS, *celery, "--without-gossip", "--without-mingle"],
            stdin=subprocess.DEVNULL, stdout=log, stderr=log, cwd=PROJECT, start_new_session=True,
            env={
                **os.environ,
                "DJANGO_SETTINGS_MODULE": "config.settings",
                "SWARDLINE_DATA": os.fspath(self.folder),
                "DATABASE_URL": address_of(connection.settings_dict),
                "CELERY_BROKER_URL": self.url,
            },
        )  # fmt: skip

    def start_broker(self) -> None:
        self.broker.start()
        wait_for(lambda: valkey.Valkey().is_ready(self.folder), "the broker")

    def said(self) -> str:
        return self.worker.log.read_text(errors="replace")


@pytest.fixture
def background(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Background]:
    made = Background(tmp_path / "jobs")
    for name in ("broker_read_url", "broker_write_url"):
        monkeypatch.setattr(current_app.conf, name, made.url)
    made.start_broker()
    made.worker.start()
    try:
        yield made
    finally:
        made.worker.kill()
        made.broker.kill()


@pytest.fixture
def treated(vet_api: Api) -> Callable[[], tuple[Any, Any]]:
    """Writes a course of before a milking only now; the lot with its milk, and the answer."""

    def write() -> tuple[Any, Any]:
        at, cow, group = timezone.now() - 5 * HOUR, make_animal(), make_group()
        put_in_group(cow, group)
        milking = milk.make_milking(at=at, group=group, cows=[(cow, Decimal(12))])
        body = {
            "animal": str(cow.uuid),
            "medicine": str(make_medicine(84).uuid),
            "diagnosis": "mastitis",
            "route": "udder",
            "dose": "1",
            "doses": 1,
            "interval_hours": 12,
            "happened_at": (at - HOUR).isoformat(),
        }
        return milking.parts.get().lot, vet_api.post("/api/courses/", body)

    return write


def held(lot: Any) -> bool:
    return Hold.objects.open().filter(items__lot=lot).exists()


def runs(name: str = FLAG) -> int:
    return JobRun.objects.filter(name=name, ended_at__isnull=False, error="").count()


def test_a_broker_that_is_away_for_an_hour(
    background: Background, treated: Any, cheesemaker_api: Api, office_client: Pages
) -> None:
    lot, answer = treated()
    assert answer.status_code == 201
    wait_for(lambda: held(lot), "the first hold")
    background.broker.kill()
    began = time.monotonic()
    lot, answer = treated()
    assert answer.status_code == 201
    assert time.monotonic() - began < AT_MOST_SECONDS
    # The alarm is late; what must not happen does not happen.
    assert not held(lot)
    vat = milk.make_vat(at=timezone.now())
    fill = {"vat": str(vat.uuid), "tank": str(lot.tank.uuid), "kg": "5"}
    refused = cheesemaker_api.post(
        "/api/vat-fills/", {**fill, "happened_at": timezone.now().isoformat()}
    )
    assert refused.status_code == 409
    assert "withdrawal period" in refused.json()["detail"]
    # An hour goes by.
    JobRun.objects.update(started_at=F("started_at") - HOUR, ended_at=F("ended_at") - HOUR)
    page = text(office_client.get("/running/"))
    assert "does not answer: entries are kept, alarms come late." in page
    assert "Start the broker (Redis or Valkey) again." in page
    assert "ran 60 minutes ago, and should run every 5 minutes." in page
    # It is back: the worker finds it by itself, and the next thing asked for brings the alarm.
    background.start_broker()
    assert jobs.send(FLAG, ())
    wait_for(lambda: held(lot), "the hold once the broker is back")
    assert background.worker.runs
    assert "answers." in text(office_client.get("/running/"))


def test_a_worker_of_an_older_version(background: Background, treated: Any) -> None:
    # It knows neither this job nor this argument: it says so, drops them, and goes on.
    with current_app.connection_for_write() as broker:
        for name, named in (("milk.tasks.of_the_next_version", {}), (FLAG, {"of_next": 1})):
            current_app.send_task(name, kwargs=named, connection=broker, ignore_result=True)
    lot, answer = treated()
    assert answer.status_code == 201
    wait_for(lambda: held(lot), "the hold by the old worker")
    assert background.worker.runs
    wait_for(lambda: "of_the_next_version" in background.said(), "a word about the unknown job")
    wait_for(lambda: "of_next" in background.said(), "a word about the unknown argument")


def test_a_worker_that_is_killed_at_work_is_followed_by_the_next(
    background: Background, treated: Any
) -> None:
    lot, _ = treated()
    for process in background.worker.family()[1:]:
        process.kill()
    wait_for(lambda: held(lot), "the hold by another process of the worker")
    assert background.worker.runs
    assert runs()


def test_the_test_database_is_the_one_that_is_worked_on() -> None:
    assert connection.settings_dict["NAME"] == settings.DATABASES["default"]["TEST"]["NAME"]
