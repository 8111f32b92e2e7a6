"""/health: database, broker and the last run of each job, for anybody, secrets for nobody."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import DatabaseError, connection
from django.test import Client
from django.utils import timezone

from config.celery import app as celery_app
from config.embedded import keeper, valkey
from config.models import JobRun
from config.views import health

pytestmark = pytest.mark.django_db


def test_it_needs_no_login_and_is_never_kept(client: Client) -> None:
    answer = client.get("/health")

    assert answer.status_code == 200
    assert answer.json()["database"] == "ok"
    assert "no-store" in answer["Cache-Control"]


def test_it_tells_the_last_run_of_each_job_and_not_what_went_wrong(client: Client) -> None:
    now = timezone.now()
    for name, hours, error in [
        ("milk late", 2, ""),
        ("grass", 5, ""),
        ("milk late", 1, "KeyError: 'secret'"),
    ]:
        began = now - timedelta(hours=hours)
        JobRun.objects.create(name=name, started_at=began, ended_at=began, error=error)

    answer = client.get("/health")

    assert [(run["name"], run["failed"]) for run in answer.json()["jobs"]] == [
        ("grass", False),
        ("milk late", True),
    ]
    assert b"secret" not in answer.content


def test_a_database_that_is_away_is_503(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def away() -> Any:
        raise DatabaseError

    monkeypatch.setattr(connection, "cursor", away)

    answer = client.get("/health")

    assert answer.status_code == 503
    assert answer.json()["status"] == "down"
    assert answer.json()["jobs"] == []


def test_without_a_broker_it_goes_on_degraded(client: Client, tmp_path: Path) -> None:
    with broker(valkey.url(tmp_path / "nobody")):
        answer = client.get("/health")

    assert answer.status_code == 200
    assert (answer.json()["status"], answer.json()["broker"]) == ("degraded", "away")


def test_a_real_broker_is_found(tmp_path: Path) -> None:
    keeper.join("valkey", tmp_path)

    with broker(valkey.url(tmp_path)):
        state = health.broker_state()

    keeper.leave("valkey", tmp_path)
    assert state == "ok"


@contextmanager
def broker(url: str) -> Iterator[None]:
    real = celery_app.connection_for_read
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(celery_app, "connection_for_read", lambda **options: real(url, **options))
        yield


@pytest.mark.parametrize("method", ["post", "put", "delete"])
def test_it_is_only_read(client: Client, method: str) -> None:
    assert getattr(client, method)("/health").status_code == 405
