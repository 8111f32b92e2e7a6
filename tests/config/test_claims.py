"""One worker of many does a job of the clock; what a write asks for always runs."""

import threading
from datetime import timedelta

import pytest
from django.db import connection
from django.utils import timezone

from config import claims, tasks
from config.celery import app
from config.models import JobClaim, JobRun

NAME = "config.tasks.clear_old"
FIVE, NINE = timedelta(minutes=5), timedelta(minutes=9)


def take(task_id: str, **how) -> bool:
    return claims.take(NAME, task_id, **{"every": FIVE, "hold": NINE, **how})


def taken(before: timedelta, until: timedelta) -> None:
    """Move the claim back in time: taken so long ago, kept from then for so long."""
    at = timezone.now() - before
    JobClaim.objects.update(taken_at=at, until=at + until)


@pytest.mark.django_db(transaction=True)
def test_of_twelve_workers_at_the_same_moment_one_gets_the_job() -> None:
    together = threading.Barrier(12)
    got: list[str] = []

    def worker(number: int) -> None:
        try:
            connection.ensure_connection()
            together.wait(20)
            if take(f"message {number}"):
                got.append(f"message {number}")
        finally:
            connection.close()

    for _round in range(3):
        got.clear()
        threads = [threading.Thread(target=worker, args=[number]) for number in range(12)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert got == [JobClaim.objects.get().task_id]
        # The next interval: all of them may try again.
        taken(FIVE, timedelta())


@pytest.mark.django_db
def test_while_it_is_worked_on_nobody_else_gets_it_however_long_it_takes() -> None:
    assert take("first")
    assert not take("second")
    taken(NINE - timedelta(seconds=5), NINE)
    assert not take("second")


@pytest.mark.django_db
def test_after_its_worker_died_the_claim_lapses() -> None:
    assert take("first")
    taken(NINE + timedelta(seconds=1), NINE)
    assert take("second")


@pytest.mark.django_db
def test_the_same_message_handed_out_again_goes_on_at_once() -> None:
    assert take("first")
    assert take("first")


@pytest.mark.django_db
def test_a_job_that_outlives_its_message_is_not_begun_twice() -> None:
    assert take("first", again=False)
    assert not take("first", again=False)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("ago", "free"), [(timedelta(seconds=140), False), (timedelta(seconds=160), True)]
)
def test_what_ran_lately_does_not_run_again(ago: timedelta, free: bool) -> None:
    assert take("first")
    claims.give_back(NAME, "first")
    assert not take("at once")
    # Half of five minutes is 150 s.
    taken(ago, timedelta(seconds=1))
    assert take("later") is free


@pytest.mark.django_db
def test_a_late_worker_does_not_end_the_claim_of_another() -> None:
    assert take("first")
    taken(NINE + timedelta(seconds=1), NINE)
    assert take("second")
    claims.give_back(NAME, "first")
    assert not take("third", every=timedelta())


def by_the_clock(task_id: str) -> dict[str, int]:
    """Do a task as a worker does it on a message of the clock."""
    tasks.clear_old.push_request(**{"id": task_id, claims.EVERY: FIVE.total_seconds()})
    try:
        found: dict[str, int] = tasks.clear_old()
    finally:
        tasks.clear_old.pop_request()
    return found


@pytest.mark.django_db
def test_a_doubled_message_of_the_clock_is_worked_on_once() -> None:
    assert "keys" in by_the_clock("first")
    assert by_the_clock("second") == {}
    assert JobRun.objects.filter(name=NAME).count() == 1


@pytest.mark.django_db
def test_what_a_write_asks_for_always_runs() -> None:
    by_the_clock("first")
    assert "keys" in tasks.clear_old()
    assert "keys" in tasks.clear_old()
    assert JobRun.objects.filter(name=NAME).count() == 3


@pytest.mark.django_db
def test_a_job_that_fails_gives_its_claim_back(monkeypatch) -> None:
    def fail() -> int:
        raise OSError("away")

    monkeypatch.setattr("config.once.forget_old", fail)
    with pytest.raises(OSError, match="away"):
        by_the_clock("first")
    kept = JobClaim.objects.get()
    assert kept.until <= timezone.now()


def test_every_message_of_the_clock_says_how_often_it_comes() -> None:
    for entry in app.conf.beat_schedule.values():
        headers = entry["options"]["headers"]
        assert headers == {claims.EVERY: entry["schedule"].total_seconds()}
