"""Background jobs leave a row, and asking for one never fails a write."""

import logging
import time
from datetime import timedelta

import pytest
from celery import current_app
from django.db import transaction
from django.utils import timezone

from config import jobs, tasks
from config.models import JobRun, Session

CLEARED = {"keys": 0, "clock questions": 0, "runs": 0, "guesses": 0, "sessions": 1, "sign-ins": 0}


@pytest.mark.django_db
def test_a_run_leaves_a_row_with_what_it_counted():
    with jobs.job("count lots") as counted:
        assert JobRun.objects.get().ended_at is None
        counted["lots"] = 14
    run = JobRun.objects.get()
    assert (run.name, run.counted, run.error) == ("count lots", {"lots": 14}, "")
    assert run.ended_at >= run.started_at


@pytest.mark.django_db
def test_a_failed_run_leaves_its_error_and_fails():
    @jobs.job("divide")
    def work():
        raise ZeroDivisionError("division by zero")

    with pytest.raises(ZeroDivisionError):
        work()
    run = JobRun.objects.get()
    assert run.error == "ZeroDivisionError: division by zero"
    assert run.ended_at is not None


@pytest.mark.django_db
def test_as_a_decorator_it_keeps_a_row_per_call():
    @jobs.job("twice")
    def work():
        return 2

    assert work() + work() == 4
    assert JobRun.objects.filter(name="twice", error="").count() == 2


@pytest.mark.django_db
def test_asking_waits_for_the_write(django_capture_on_commit_callbacks, monkeypatch):
    sent = []
    monkeypatch.setattr(jobs, "send", lambda name, args: sent.append((name, args)))
    with django_capture_on_commit_callbacks(execute=True):
        jobs.ask("milk.tasks.flag_lots", ["a"], 3)
        assert sent == []
    assert sent == [("milk.tasks.flag_lots", (["a"], 3))]


@pytest.mark.django_db
def test_asked_for_many_times_in_one_write_it_is_asked_for_once(
    django_capture_on_commit_callbacks, monkeypatch
):
    sent = []
    monkeypatch.setattr(jobs, "send", lambda name, args: sent.append((name, args)))
    with django_capture_on_commit_callbacks(execute=True):
        for animal in (1, 2, 1, 1):
            jobs.ask("milk.tasks.flag_lots", [animal])
    assert sent == [("milk.tasks.flag_lots", ([1],)), ("milk.tasks.flag_lots", ([2],))]


@pytest.mark.django_db
def test_what_is_undone_asks_for_nothing_and_hides_no_later_ask(
    django_capture_on_commit_callbacks, monkeypatch
):
    sent = []
    monkeypatch.setattr(jobs, "send", lambda name, args: sent.append((name, args)))
    with django_capture_on_commit_callbacks(execute=True):
        with transaction.atomic():
            jobs.ask("milk.tasks.flag_lots")
            transaction.set_rollback(True)
        jobs.ask("milk.tasks.flag_lots")
    assert sent == [("milk.tasks.flag_lots", ())]


@pytest.mark.django_db
def test_a_broker_that_is_away_is_logged_and_not_waited_for(
    django_capture_on_commit_callbacks, monkeypatch, caplog
):
    # Nothing listens on port 1 of this machine.
    monkeypatch.setattr(current_app.conf, "broker_write_url", "redis://127.0.0.1:1/0")
    began = time.monotonic()
    with caplog.at_level(logging.WARNING), django_capture_on_commit_callbacks(execute=True):
        jobs.ask("milk.tasks.flag_lots", [])
    assert "milk.tasks.flag_lots could not be asked for" in caplog.text
    assert time.monotonic() - began < 10


def test_a_broker_that_answers_takes_the_task(monkeypatch):
    monkeypatch.setattr(current_app.conf, "broker_write_url", "memory://")
    assert jobs.send("config.nothing", ())


@pytest.mark.django_db
def test_old_keys_and_sessions_are_cleared(vet_client):
    ended = timezone.now() - timedelta(seconds=1)
    Session.objects.create(session_key="ended", session_data="", expire_date=ended)
    assert tasks.clear_old() == CLEARED
    assert Session.objects.count() == 1
    assert JobRun.objects.get().counted == CLEARED
