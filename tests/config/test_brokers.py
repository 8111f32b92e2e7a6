"""Web, worker, clock and database on addresses of their own, over each broker that can be set.

Real programs: two workers as on two hosts, a clock that asks as two would, a broker of the
distribution, the tests' database at an address of its own, each worker with its own data folder.
"""

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from itertools import pairwise
from pathlib import Path

import pytest
from celery import current_app
from django.conf import settings
from django.db import connection, transaction

from config import jobs
from config.embedded.keeper import PROJECT
from config.models import JobRun
from config.running.metrics import jobs_waiting
from config.views.health import OK, broker_state
from tests import brokers
from tests.clocks import EVERY, JOB
from tests.servers import at_an_address, wait_for

DATABASE_HOST = "127.0.0.5"
# Three programs load everything at once; on a busy machine that takes its time.
START_SECONDS = 240
ASKED = "herd.tasks.ring_for_rounds"


# The embedded Valkey has its turn in tests/drills/ and in the demo.
BROKERS = {"Redis": brokers.redis, "RabbitMQ": brokers.rabbitmq}


@contextmanager
def program(name: str, arguments: list[str], environment: dict[str, str]) -> Iterator[None]:
    """A program of the service with a data folder of its own, stopped as systemd stops it."""
    folder = Path(environment["PLACE"]) / name
    folder.mkdir(mode=0o700)
    log = folder / "log"
    with log.open("wb") as output:
        started = subprocess.Popen(
            [sys.executable, "-W", "ignore::UserWarning", "-m", "celery", "-A", *arguments],
            cwd=PROJECT,
            env={**environment, "SWARDLINE_DATA": str(folder)},
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=output,
        )
    try:
        yield
        assert started.poll() is None, log.read_text(errors="replace")
    finally:
        started.terminate()
        started.wait(60)


def worker(host: str) -> list[str]:
    own = ["--pool", "solo", "--loglevel", "INFO", "--hostname", f"worker@{host}"]
    return ["tests.soon", "worker", *own, "--without-gossip", "--without-mingle"]


def clocks(folder: Path) -> list[str]:
    return ["tests.soon", "beat", "--schedule", str(folder / "schedule"), "--pidfile", ""]


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("broker", BROKERS.values(), ids=BROKERS)
def test_two_workers_share_what_two_clocks_and_a_write_ask_for(
    broker: Callable[[Path], AbstractContextManager[str]], tmp_path: Path, monkeypatch
) -> None:
    if "embedded" not in settings.DATABASES["default"]["ENGINE"]:
        pytest.skip("the database is put at an address of its own from the embedded server")
    connection.ensure_connection()
    own = connection.settings_dict
    with ExitStack() as stack:
        place = Path(own["HOST"]) / f".s.PGSQL.{own['PORT']}"
        port = stack.enter_context(at_an_address(DATABASE_HOST, place))
        url = stack.enter_context(broker(tmp_path))
        monkeypatch.setattr(current_app.conf, "broker_write_url", url)
        monkeypatch.setattr(current_app.conf, "broker_read_url", url)
        environment = {
            **os.environ,
            "PLACE": str(tmp_path),
            "DJANGO_SETTINGS_MODULE": "config.settings",
            "DATABASE_URL": f"postgresql://{own['USER']}@{DATABASE_HOST}:{port}/{own['NAME']}",
            "CELERY_BROKER_URL": url,
        }
        # Asked for while no worker is there: it waits in the broker.
        with transaction.atomic():
            jobs.ask(ASKED)
            assert not JobRun.objects.exists()
        assert broker_state() == OK
        assert jobs_waiting() == 1
        for host in ("stable", "hall"):
            stack.enter_context(program(host, worker(host), environment))
        stack.enter_context(program("clocks", clocks(tmp_path), environment))
        wait_for(lambda: JobRun.objects.filter(name=ASKED, error="").count() == 1, START_SECONDS)
        wait_for(lambda: runs() >= 3, START_SECONDS)
        # A queue that is empty is not there any more in Redis.
        assert not jobs_waiting()
    began = JobRun.objects.filter(name=JOB).order_by("pk").values_list("started_at", flat=True)
    gaps = [after - before for before, after in pairwise(began)]
    assert min(gaps) >= EVERY / 2, gaps
    assert not JobRun.objects.exclude(error="").exists()
    # Both clocks asked, both were heard, and some of it was another's work already.
    assert received(tmp_path) > len(gaps) + 1


def runs() -> int:
    return JobRun.objects.filter(name=JOB, ended_at__isnull=False).count()


def received(place: Path) -> int:
    """How many messages of the clocks the two workers took in."""
    logs = [(place / host / "log").read_text(errors="replace") for host in ("stable", "hall")]
    return sum(f"Task {JOB}[" in line and "received" in line for line in "".join(logs).splitlines())
