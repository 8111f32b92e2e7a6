"""`manage.py up`: refusals before anything starts, children watched, everything stopped."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from typing import Any

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection, connections
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from config.embedded import keeper, serve, valkey
from config.embedded.serve import Child, Failed, Stopped

SLEEPS = ["-c", "import time; time.sleep(60)"]
ENDS = ["-c", "raise SystemExit(3)"]
DEAF = ["-c", "import signal, time; signal.signal(15, signal.SIG_IGN); print(); time.sleep(60)"]


@pytest.fixture
def taken_port() -> Iterator[int]:
    with socket.socket() as listener:
        listener.bind((serve.HOST, 0))
        listener.listen()
        yield listener.getsockname()[1]


def child(arguments: list[str], monkeypatch: pytest.MonkeyPatch, name: str = "worker") -> Child:
    # `-W … -c code` instead of `-W … -m module`.
    real = subprocess.Popen

    def without_m(command: list[str], **options: Any) -> Any:
        return real([part for part in command if part != "-m"], **options)

    monkeypatch.setattr(subprocess, "Popen", without_m)
    return Child(name, arguments)


def test_a_port_in_use_is_one_clear_line(taken_port: int) -> None:
    with pytest.raises(CommandError, match=f"Port {taken_port} on 127.0.0.1 is in use already"):
        call_command("up", port=str(taken_port))


@pytest.mark.parametrize("port", ["0", "65536", "eighty", "-1", "8000.5", ""])
def test_what_is_no_port_is_refused(port: str) -> None:
    with pytest.raises(CommandError, match="expected a whole number from 1 to 65535"):
        call_command("up", port=port)


def test_a_free_port_passes(taken_port: int) -> None:
    with socket.socket() as probe:
        probe.bind((serve.HOST, 0))
        free = probe.getsockname()[1]

    serve.check_port(free)

    assert free != taken_port


def test_a_child_that_ends_is_started_again(monkeypatch: pytest.MonkeyPatch) -> None:
    said: list[str] = []
    worker = child(SLEEPS, monkeypatch)
    worker.start()
    first = worker.process
    assert first is not None
    first.kill()
    first.wait()

    serve.watch([worker], said.append)

    assert said == ["worker ended (exit code -9); starting it again"]
    assert worker.ended() is None
    assert worker.process is not first
    worker.stop()


def test_a_child_that_keeps_ending_brings_everything_down(monkeypatch: pytest.MonkeyPatch) -> None:
    worker = child(ENDS, monkeypatch)
    worker.start()
    assert worker.process is not None
    worker.process.wait()
    worker.deaths = serve.MOST_DEATHS - 1

    with pytest.raises(Failed, match=r"worker ended 5 times in a row \(exit code 3\)"):
        serve.watch([worker], lambda line: None)


def test_a_child_that_had_settled_starts_counting_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    worker = child(ENDS, monkeypatch)
    worker.start()
    assert worker.process is not None
    worker.process.wait()
    worker.deaths = serve.MOST_DEATHS - 1
    worker.started -= serve.SETTLED_SECONDS + 1

    serve.watch([worker], lambda line: None)

    assert worker.deaths == 1
    worker.stop()


def test_a_child_that_does_not_listen_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(serve, "STOP_SECONDS", 0.3)
    deaf = child(DEAF, monkeypatch)
    deaf.start()
    assert deaf.process is not None
    time.sleep(0.5)

    deaf.stop()

    assert deaf.process.returncode == -signal.SIGKILL


def test_the_web_server_stops_first_and_the_worker_last(monkeypatch: pytest.MonkeyPatch) -> None:
    order: list[str] = []
    monkeypatch.setattr(Child, "stop", lambda self: order.append(self.name))
    monkeypatch.setattr(keeper, "leave_all", lambda: order.append("servers"))
    monkeypatch.setattr(connections, "close_all", lambda: None)

    serve.stop_all(serve.children(8000))

    assert order == ["web server", "clock", "worker", "servers"]


@pytest.mark.parametrize("told", [signal.SIGINT, signal.SIGTERM])
def test_being_told_twice_does_not_disturb_the_stopping(told: signal.Signals) -> None:
    before = signal.getsignal(told)

    with serve.told_to_stop():
        with pytest.raises(Stopped):
            os.kill(os.getpid(), told)
        os.kill(os.getpid(), told)

    assert signal.getsignal(told) is before


def test_a_web_server_that_never_answers_is_reported(
    monkeypatch: pytest.MonkeyPatch, taken_port: int
) -> None:
    monkeypatch.setattr(serve, "READY_SECONDS", 0)

    with pytest.raises(Failed, match="did not answer"):
        serve.wait_until_ready(taken_port, [])


def test_a_child_that_ends_before_all_is_ready_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = child(ENDS, monkeypatch, "clock")
    clock.start()
    assert clock.process is not None
    clock.process.wait()

    with pytest.raises(Failed, match=r"clock ended 1 times in a row \(exit code 3\)"):
        serve.wait_until_ready(1, [clock])


def test_another_broker_than_the_embedded_one_is_not_started(
    settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    joined: list[str] = []
    monkeypatch.setattr(keeper, "join", lambda name, folder: joined.append(name))

    settings.CELERY_BROKER_URL = "redis://broker.example:6379/0"
    serve.join_broker()
    assert joined == []

    settings.CELERY_BROKER_URL = valkey.url(settings.SWARDLINE_DATA)
    serve.join_broker()
    assert joined == ["valkey"]


@pytest.mark.skipif(sys.platform != "linux", reason="prctl(2) is Linux")
def test_a_child_ends_when_its_parent_is_killed_outright(tmp_path: Any) -> None:
    program = (
        "import subprocess, sys, time\n"
        "from config.embedded.serve import end_with_parent\n"
        "c = subprocess.Popen(['sleep', '60'], preexec_fn=end_with_parent)\n"
        "print(c.pid, flush=True); time.sleep(60)\n"
    )
    environment = {**os.environ, "DJANGO_SETTINGS_MODULE": "config.settings_test"}
    parent = subprocess.Popen(
        [sys.executable, "-c", program],
        stdout=subprocess.PIPE,
        cwd=keeper.PROJECT,
        env=environment,
    )
    assert parent.stdout is not None
    orphan = int(parent.stdout.readline())
    parent.kill()
    parent.communicate()

    deadline = time.monotonic() + 10
    while time.monotonic() < deadline and is_running(orphan):
        time.sleep(0.02)

    assert not is_running(orphan)


def is_running(pid: int) -> bool:
    try:
        with open(f"/proc/{pid}/stat") as stat:
            return stat.read().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.mark.django_db
def test_tables_that_are_up_to_date_are_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    called: list[str] = []
    monkeypatch.setattr(serve, "call_command", lambda name, **options: called.append(name))

    serve.bring_tables_up_to_date()
    assert called == []

    last = MigrationLoader(connection).graph.leaf_nodes("milk")[0]
    MigrationRecorder(connection).record_unapplied(*last)
    serve.bring_tables_up_to_date()
    assert called == ["migrate"]


def test_what_is_done_meanwhile_comes_before_ready_and_its_failure_stops_everything(
    monkeypatch: pytest.MonkeyPatch, taken_port: int
) -> None:
    order: list[str] = []
    monkeypatch.setattr(serve, "check_port", lambda port: None)
    monkeypatch.setattr(serve, "join_broker", lambda: None)
    monkeypatch.setattr(connections, "close_all", lambda: None)
    monkeypatch.setattr(serve, "children", lambda port: [Child("worker", [])])
    monkeypatch.setattr(Child, "start", lambda self: order.append("start"))
    monkeypatch.setattr(Child, "stop", lambda self: order.append("stop"))
    monkeypatch.setattr(keeper, "leave_all", lambda: None)

    def fails() -> None:
        order.append("meanwhile")
        raise Failed("no grass")

    with pytest.raises(Failed, match="no grass"):
        serve.serve(taken_port, say=order.append, meanwhile=fails)

    assert order == ["start", "meanwhile", "stop"]
