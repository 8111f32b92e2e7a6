"""The lines to the broker that stay open from one job to the next, with real brokers."""

import os
import socket
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from celery import current_app
from redis import Redis

from config import jobs
from tests import brokers
from tests.servers import wait_for

TASK = "config.nothing"
QUEUE = "celery"


@pytest.fixture
def lines(monkeypatch: pytest.MonkeyPatch) -> list[jobs.Line]:
    """The lines that lie idle; none at first."""
    idle: list[jobs.Line] = []
    monkeypatch.setattr(jobs, "_idle", idle)
    return idle


@pytest.fixture
def broker(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lines: list[jobs.Line]
) -> Iterator[Any]:
    with brokers.redis(tmp_path) as url:
        monkeypatch.setattr(current_app.conf, "broker_write_url", url)
        with Redis.from_url(url) as client:
            yield client


def waiting(client: Any) -> int:
    return int(client.llen(QUEUE))


def connected(client: Any) -> int:
    """How many are connected besides the one that asks."""
    return len(client.client_list()) - 1


def test_jobs_one_after_the_other_take_one_line(broker: Any, lines: list[jobs.Line]) -> None:
    assert jobs.send(TASK, (1,))
    opened = connected(broker)
    assert all(jobs.send(TASK, (number,)) for number in range(2, 9))
    assert (waiting(broker), len(lines), connected(broker)) == (8, 1, opened)


def test_those_sent_at_once_take_a_line_each(broker: Any, lines: list[jobs.Line]) -> None:
    with ThreadPoolExecutor(8) as threads:
        assert all(threads.map(lambda number: jobs.send(TASK, (number,)), range(160)))
    assert waiting(broker) == 160
    assert 1 <= len(lines) <= 8
    assert len(set(lines)) == len(lines)


def test_a_line_that_the_broker_closed_is_opened_anew(broker: Any, lines: list[jobs.Line]) -> None:
    assert jobs.send(TASK, (1,))
    closed = [one["id"] for one in broker.client_list() if one["id"] != str(broker.client_id())]
    assert closed
    for number in closed:
        broker.client_kill_filter(_id=number)
    assert jobs.send(TASK, (2,))
    assert waiting(broker) == 2


def test_a_queue_that_the_broker_has_forgotten_is_made_anew(broker: Any, lines: Any) -> None:
    assert jobs.send(TASK, (1,))
    broker.flushall()
    assert jobs.send(TASK, (2,))
    assert waiting(broker) == 1


def test_a_broker_that_went_away_costs_little_and_leaves_no_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lines: list[jobs.Line]
) -> None:
    with brokers.redis(tmp_path) as url:
        monkeypatch.setattr(current_app.conf, "broker_write_url", url)
        assert jobs.send(TASK, ())
    began = time.monotonic()
    assert not jobs.send(TASK, ())
    assert time.monotonic() - began < 3 * jobs.BROKER_WAIT_SECONDS
    assert lines == []


def test_a_broker_that_says_nothing_is_not_waited_for(
    monkeypatch: pytest.MonkeyPatch, lines: list[jobs.Line]
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as silent:
        url = f"redis://127.0.0.1:{silent.getsockname()[1]}/0"
        monkeypatch.setattr(current_app.conf, "broker_write_url", url)
        began = time.monotonic()
        assert not jobs.send(TASK, ())
        assert time.monotonic() - began < 10
    assert lines == []


def test_a_line_of_another_process_or_broker_is_not_taken(lines: list[jobs.Line]) -> None:
    here = (os.getpid(), "memory://")
    lines += [jobs.Line((os.getppid(), "memory://")), jobs.Line((os.getpid(), "redis://other"))]
    assert jobs.idle_line(here) is None
    own = jobs.Line(here)
    lines.append(own)
    assert jobs.idle_line(here) is own


def test_a_line_to_a_broker_that_is_another_now_is_closed(
    broker: Any, monkeypatch: pytest.MonkeyPatch, lines: list[jobs.Line]
) -> None:
    assert jobs.send(TASK, ())
    assert connected(broker)
    monkeypatch.setattr(current_app.conf, "broker_write_url", "memory://")
    assert jobs.send(TASK, ())
    wait_for(lambda: not connected(broker), 5)
    assert [line.place[1] for line in lines] == ["memory://"]


def test_a_line_to_rabbitmq_that_is_cut_is_opened_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lines: list[jobs.Line]
) -> None:
    with brokers.rabbitmq(tmp_path) as url:
        monkeypatch.setattr(current_app.conf, "broker_write_url", url)
        assert jobs.send(TASK, (1,))
        (line,) = lines
        assert jobs.send(TASK, (2,))
        assert lines == [line]
        line.connection.connection.transport.sock.shutdown(socket.SHUT_RDWR)
        assert jobs.send(TASK, (3,))
        (other,) = lines
        assert other is not line
        with other.connection.channel() as channel:
            assert channel.queue_declare(QUEUE, passive=True).message_count == 3
        other.connection.release()
