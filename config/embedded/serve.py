"""Run web server, worker and clock together until told to stop: `manage.py up`, `manage.py demo`.

A child that dies is started again, after a wait that grows. One that keeps dying brings everything
down with its name and the reason: half a service that looks whole would be worse than none.
"""

import contextlib
import ctypes
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

from django.conf import settings
from django.core.management import call_command
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.migrations.executor import MigrationExecutor

from config.embedded import keeper, valkey
from config.embedded.errors import EmbeddedError

HOST = "127.0.0.1"
WEB_PROCESSES, WEB_THREADS, WORKER_PROCESSES = 2, 4, 2
READY_SECONDS = 60
LOOK_SECONDS = 0.2
# A request or a job under way may finish; then it is ended.
STOP_SECONDS = 15
# A child that lived this long had started well: its next death counts as the first.
SETTLED_SECONDS = 60
MOST_DEATHS = 5
PR_SET_PDEATHSIG = 1
# Root is what a first try in a container runs as; the tasks take JSON only, nothing that can run.
WARNINGS = ["-W", "ignore:You're running the worker with superuser privileges"]

PORT_TAKEN = (
    "Port {port} on {host} is in use already. Stop what uses it, or choose another: PORT={other}"
)
KEEPS_DYING = "{name} ended {times} times in a row (exit code {code}). Stopped everything."
NOT_READY = "The web server did not answer within {seconds} seconds. Stopped everything."

Say = Callable[[str], None]


@dataclass
class Child:
    """One of the programs that make up the service."""

    name: str
    arguments: list[str]
    process: subprocess.Popen[bytes] | None = None
    started: float = 0.0
    deaths: int = field(default=0)

    def start(self) -> None:
        """Start it, in a session of its own: Ctrl-C is for the parent, which stops all in order."""
        self.process = subprocess.Popen(
            [sys.executable, *WARNINGS, "-m", *self.arguments],
            stdin=subprocess.DEVNULL,
            cwd=settings.BASE_DIR,
            start_new_session=True,
            preexec_fn=end_with_parent if sys.platform == "linux" else None,
        )
        self.started = time.monotonic()

    def ended(self) -> int | None:
        """Its exit code once it has ended."""
        return self.process.poll() if self.process else None

    def stop(self) -> None:
        """Ask it to finish; end it when it does not."""
        if self.process is None or self.process.poll() is not None:
            return
        self.process.terminate()
        try:
            self.process.wait(STOP_SECONDS)
        except subprocess.TimeoutExpired:
            # The whole session: a web server's or worker's own children as well.
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()


class Stopped(Exception):
    """Somebody asked the service to stop."""


class Failed(RuntimeError):
    """The service cannot go on; the words say why."""


def end_with_parent() -> None:
    """Have the kernel end this process when its parent is killed outright (prctl(2))."""
    ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)


def children(port: int) -> list[Child]:
    """Web server, worker and clock."""
    web = ["gunicorn", "config.wsgi:application", "--bind", f"{HOST}:{port}"]
    web += ["--worker-class", "gthread", "--workers", str(WEB_PROCESSES)]
    web += ["--threads", str(WEB_THREADS), "--graceful-timeout", str(STOP_SECONDS - 5)]
    # Loaded once, then forked; connections are only made by the first request.
    web += ["--log-level", "warning", "--no-control-socket", "--preload"]
    celery = ["celery", "--quiet", "-A", "config.celery"]
    worker = [*celery, "worker", "--loglevel", "WARNING", "--concurrency", str(WORKER_PROCESSES)]
    worker += ["--without-gossip", "--without-mingle"]
    schedule = settings.SWARDLINE_DATA / "clock"
    clock = [*celery, "beat", "--loglevel", "WARNING", "--schedule", os.fspath(schedule)]
    clock += ["--pidfile", ""]
    return [Child("web server", web), Child("worker", worker), Child("clock", clock)]


def bring_tables_up_to_date() -> None:
    """Migrate, unless there is nothing to do: finding that out takes a tenth of the time."""
    executor = MigrationExecutor(connections[DEFAULT_DB_ALIAS])
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        call_command("migrate", verbosity=0)


def check_port(port: int) -> None:
    """Raise Failed when somebody listens at the port already."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError:
            raise Failed(PORT_TAKEN.format(port=port, host=HOST, other=port + 1)) from None


def join_broker() -> None:
    """Start the embedded broker, when it is the one that is set. Raises Failed."""
    folder: Path = settings.SWARDLINE_DATA
    if valkey.url(folder) != settings.CELERY_BROKER_URL:
        return
    try:
        keeper.join("valkey", folder)
    except EmbeddedError as error:
        raise Failed(str(error)) from error


def nothing_else() -> None:
    """Nothing to do while the service loads."""


def serve(port: int, *, say: Say, meanwhile: Callable[[], None] = nothing_else) -> None:
    """Serve until SIGINT or SIGTERM, then stop everything that was started here, in order.

    The database must have its tables. ``say`` gets the lines for people; ``meanwhile`` is done
    while web server, worker and clock load. Raises Failed with one clear line when the port is
    taken, the broker is missing or a child keeps dying.
    """
    check_port(port)
    with told_to_stop():
        running: list[Child] = []
        try:
            join_broker()
            # The children have connections of their own.
            connections.close_all()
            for child in children(port):
                running.append(child)
                child.start()
            meanwhile()
            wait_until_ready(port, running)
            say(f"ready: http://{HOST}:{port} (Ctrl-C stops it)")
            while True:
                watch(running, say)
                time.sleep(LOOK_SECONDS)
        except Stopped:
            say("stopping")
        finally:
            stop_all(running)
    say("stopped")


@contextlib.contextmanager
def told_to_stop() -> Iterator[None]:
    """Turn SIGINT and SIGTERM into Stopped, once; further ones do not disturb the stopping."""

    def stop(signum: int, frame: FrameType | None) -> None:
        for known in (signal.SIGINT, signal.SIGTERM):
            signal.signal(known, signal.SIG_IGN)
        raise Stopped

    before = {known: signal.signal(known, stop) for known in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for known, handler in before.items():
            signal.signal(known, handler)


def stop_all(running: list[Child]) -> None:
    """First no new requests, then no new jobs, then the worker, then the embedded servers."""
    by_name = {child.name: child for child in running}
    for name in ("web server", "clock", "worker"):
        if name in by_name:
            by_name[name].stop()
    connections.close_all()
    keeper.leave_all()


def wait_until_ready(port: int, running: list[Child]) -> None:
    """Wait until the web server answers at /health. Raises Failed."""
    deadline = time.monotonic() + READY_SECONDS
    while time.monotonic() < deadline:
        for child in running:
            code = child.ended()
            if code is not None:
                raise Failed(KEEPS_DYING.format(name=child.name, times=1, code=code))
        if answers_health(port):
            return
        time.sleep(LOOK_SECONDS)
    raise Failed(NOT_READY.format(seconds=READY_SECONDS))


def answers_health(port: int) -> bool:
    """Whether the web server says that it is well."""
    try:
        with urllib.request.urlopen(f"http://{HOST}:{port}/health", timeout=5) as answer:
            return bool(answer.status == 200)
    except (urllib.error.URLError, OSError):
        return False


def watch(running: list[Child], say: Say) -> None:
    """Start again what has ended. Raises Failed when it keeps ending."""
    now = time.monotonic()
    for child in running:
        code = child.ended()
        if code is None:
            continue
        child.deaths = 1 if now - child.started > SETTLED_SECONDS else child.deaths + 1
        if child.deaths >= MOST_DEATHS:
            raise Failed(KEEPS_DYING.format(name=child.name, times=child.deaths, code=code))
        say(f"{child.name} ended (exit code {code}); starting it again")
        time.sleep(child.deaths - 1)
        child.start()
