"""Log lines: an entry can be followed from its request into the worker, and no secret is in one."""

import json
import logging
import sys
from collections.abc import Iterator
from contextlib import suppress
from typing import Any

import pytest
from celery import shared_task, signals
from celery.app.task import Context
from django.db import connection

from config import logs
from config.entries import strike
from config.jobs import job
from herd.services.wall_screens import hang_up
from tests.factories.herd import make_animal, make_group


@pytest.fixture
def lines() -> Iterator[list[dict[str, Any]]]:
    """What our own loggers say while a test runs, as the JSON form has it."""
    kept: list[dict[str, Any]] = []

    class Keep(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            kept.append(json.loads(logs.AsJson().format(record)))

    ours, handler = logging.getLogger("swardline"), Keep()
    before = ours.level
    ours.addHandler(handler)
    ours.setLevel(logging.INFO)
    yield kept
    ours.removeHandler(handler)
    ours.setLevel(before)


@pytest.mark.django_db
def test_a_request_leaves_a_line_with_its_number_and_no_query(
    vet_client: Any, vet: Any, lines: Any
):
    answer = vet_client.get("/find/?q=secret")
    (line,) = lines

    assert line["request"] == answer["X-Request-ID"]
    assert (line["method"], line["path"], line["status"]) == ("GET", "/find/", 200)
    assert line["user"] == vet.pk
    assert line["ms"] >= 0
    assert "secret" not in json.dumps(line)


@pytest.mark.django_db
def test_probes_and_files_leave_none(client: Any, lines: Any) -> None:
    client.get("/health")
    client.get("/ready")
    assert lines == []


@pytest.mark.django_db
def test_a_wrong_password_is_in_no_line(client: Any, lines: Any) -> None:
    client.post("/login/", {"username": "vet", "password": "hunter2"})
    assert lines
    assert "hunter2" not in json.dumps(lines)


@pytest.mark.django_db
def test_the_secret_in_a_link_is_in_no_line(
    vet: Any, client: Any, lines: Any, caplog: pytest.LogCaptureFixture
) -> None:
    _, secret = hang_up(name="line 1", group=make_group(1), by=vet)
    wrong = secret[::-1]
    assert client.get(f"/herd/wall/hung/{secret}/").status_code == 200
    assert client.get(f"/herd/wall/hung/{wrong}/").status_code == 404
    said = json.dumps(lines) + "".join(logs.AsLine().format(one) for one in caplog.records)
    assert "/herd/wall/hung/" in said
    assert secret not in said
    assert wrong not in said


@pytest.mark.parametrize(
    ("line", "left"),
    [
        ("GET /x/k7m2p-9xq4r-aaaaa-bbbbb-ccccc/", "GET /x/…/"),
        (f"/x/{'Ab1_-' * 9}/y", "/x/…/y"),
        ("/api/doses/3f0722ea-0a69-4cfa-8a8b-94ec2734a1d9/", ""),
        ("/entries/forage-batches/new/ ms=7 user=3", ""),
    ],
)
def test_only_secrets_are_masked(line: str, left: str) -> None:
    assert logs.masked(line) == (left or line)


@pytest.mark.django_db
def test_an_entry_stands_beside_the_request_that_wrote_it(vet_api: Any, lines: Any) -> None:
    animal = make_animal()
    lines.clear()
    body = {"animal": str(animal.uuid), "happened_at": "2026-06-02T12:00:00+02:00", "sign": "lame"}
    answer = vet_api.post("/api/health-events/", body)
    assert answer.status_code == 201, answer.content
    entry, request = lines

    assert entry["message"] == "entry recorded"
    assert entry["entry"] == answer.json()["id"]
    assert entry["kind"] == "herd.healthevent"
    assert entry["request"] == request["request"] == answer["X-Request-ID"]


@pytest.mark.django_db
def test_a_strike_names_who_struck(vet: Any, lines: Any) -> None:
    strike(make_animal(), by=vet, reason="twice")
    assert lines[-1]["message"] == "entry struck"
    assert lines[-1]["by"] == vet.pk


@pytest.mark.django_db
@pytest.mark.parametrize("forged", ["x" * 65, "a\nb-forged", "short", "<script>alert", ""])
def test_a_number_from_outside_counts_behind_a_proxy_only_and_when_it_is_one(
    client: Any, settings: Any, forged: str
) -> None:
    given = "0123456789abcdef"
    assert client.get("/health", headers={"X-Request-ID": given})["X-Request-ID"] != given
    settings.BEHIND_PROXY = True
    assert client.get("/health", headers={"X-Request-ID": given})["X-Request-ID"] == given
    number = client.get("/health", headers={"X-Request-ID": forged})["X-Request-ID"]
    assert number != forged
    assert len(number) == 32


@pytest.mark.django_db
def test_a_slow_statement_leaves_a_line_without_its_parameters(settings: Any, lines: Any) -> None:
    settings.SLOW_STATEMENT_MS = 20
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_sleep(0.03), %s", ["hunter2"])
        cursor.execute("SELECT 1")
    (line,) = lines

    assert line["sql"] == "SELECT pg_sleep(0.03), %s"
    assert line["ms"] >= 20
    assert "hunter2" not in json.dumps(line)

    lines.clear()
    settings.SLOW_STATEMENT_MS = 0
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_sleep(0.03)")
    assert lines == []


@shared_task(name="tests.say_whose")
def say_whose() -> None:
    logs.requests.info("at work")


def test_a_job_carries_the_number_of_the_request_that_asked_for_it(lines: Any) -> None:
    headers: dict[str, Any] = {"id": "5", "task": say_whose.name}
    token = logs.request_id.set("0123456789abcdef")
    signals.before_task_publish.send(sender=say_whose.name, headers=headers)
    logs.request_id.reset(token)
    # A worker makes the context of a task from the headers of its message.
    say_whose.request_stack.push(Context(headers))
    signals.task_prerun.send(sender=say_whose, task_id="5", task=say_whose)
    say_whose.run()
    signals.task_postrun.send(sender=say_whose, task_id="5", task=say_whose)
    say_whose.request_stack.pop()
    say_whose.run()

    inside, after = lines
    assert inside["request"] == "0123456789abcdef"
    assert inside["job"] == "tests.say_whose"
    assert not {"request", "job"} & set(after)


def test_what_the_clock_asks_for_has_the_number_of_its_task(lines: Any) -> None:
    say_whose.apply(task_id="6")
    assert lines[0]["request"] == "6"


def test_a_line_for_people_says_the_same() -> None:
    record = logging.LogRecord(
        "swardline.entries", logging.INFO, "", 1, "entry %s", ("struck",), None
    )
    record.told = {"entry": "1", "by": None}
    assert logs.AsLine("%(message)s").format(record) == "entry struck entry=1"


def test_an_exception_is_in_the_line() -> None:
    try:
        raise ValueError("no")
    except ValueError:
        record = logging.getLogger("x").makeRecord(
            "x", logging.ERROR, "", 1, "failed", (), sys.exc_info()
        )
    told = json.loads(logs.AsJson().format(record))
    assert "ValueError: no" in told["exception"]
    assert "\n" not in logs.AsJson().format(record)


@pytest.mark.django_db
def test_a_job_leaves_a_line_with_what_it_counted(lines: Any) -> None:
    with job("count cows") as counted:
        counted["cows"] = 3
    with suppress(KeyError), job("count cows"):
        raise KeyError("horns")
    ended, failed = lines

    assert (ended["message"], ended["name"], ended["cows"]) == ("job ended", "count cows", 3)
    assert (failed["message"], failed["level"]) == ("job failed", "ERROR")
    assert failed["error"] == "KeyError: 'horns'"
