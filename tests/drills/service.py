"""The whole service in programs of its own, with lines between them: each can be killed, each cut.

PostgreSQL, Valkey, web server, worker and clock are started as ``manage.py up`` starts them, only
that nobody but the drill starts again what dies.
"""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import IO

import psutil

from config.embedded import postgres, serve, valkey
from config.embedded.keeper import PROJECT
from config.embedded.service import Service
from tests.drills.line import Line

READY_SECONDS = 60
LOOK_SECONDS = 0.05
DATABASE = "swardline"


class Program:
    """One program of the service, in a session of its own."""

    def __init__(self, name: str, begin: Callable[[IO[bytes]], subprocess.Popen[bytes]], log: Path):
        self.name, self.begin, self.log = name, begin, log
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        with self.log.open("ab") as log:
            self.process = self.begin(log)

    @property
    def runs(self) -> bool:
        return self.process is not None and self.process.poll() is None

    def family(self) -> list[psutil.Process]:
        """The program's process and all it started, the eldest first."""
        if not self.runs:
            return []
        assert self.process is not None
        with suppress(psutil.NoSuchProcess):
            eldest = psutil.Process(self.process.pid)
            return [eldest, *eldest.children(recursive=True)]
        return []

    def kill(self) -> None:
        """End all of it at once, as a power cut would (but for what the kernel has to write)."""
        family = self.family()
        for process in family:
            with suppress(psutil.NoSuchProcess):
                process.kill()
        if self.process is not None:
            self.process.wait()
        psutil.wait_procs(family, timeout=READY_SECONDS)

    def kill_one(self, choose: Callable[[list[psutil.Process]], psutil.Process]) -> bool:
        """End one of the processes it started; False when there is none."""
        young = self.family()[1:]
        if not young:
            return False
        with suppress(psutil.NoSuchProcess):
            choose(young).kill()
        return True

    def stop(self, how: signal.Signals = signal.SIGTERM) -> None:
        """Let it finish; end it when it does not."""
        if self.process is None or not self.runs:
            return
        self.process.send_signal(how)
        try:
            self.process.wait(serve.STOP_SECONDS)
        except subprocess.TimeoutExpired:
            self.kill()


class Estate:
    """Everything that runs, on a folder of its own, and the lines between."""

    def __init__(self, folder: Path, environment: Mapping[str, str] | None = None) -> None:
        self.folder = folder
        self.more = dict(environment or {})
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self.logs = folder / "logs"
        self.logs.mkdir(exist_ok=True)
        self.database = self.server(postgres.Postgres())
        self.broker = self.server(valkey.Valkey())
        sockets = postgres.Postgres().socket_path(folder)
        self.sockets = sockets.parent
        self.to_database = Line("web and worker to database", sockets)
        self.to_broker = Line(
            "web, worker and clock to broker", valkey.Valkey().socket_path(folder)
        )
        self.port = free_port()
        self.to_web = Line("people to web server", self.port)
        programs = {child.name: child.arguments for child in serve.children(self.port)}
        clock = programs["clock"]
        clock[clock.index("--schedule") + 1] = os.fspath(folder / "clock")
        self.web, self.worker, self.clock = (
            self.python(name, programs[name]) for name in ("web server", "worker", "clock")
        )

    def server(self, service: Service) -> Program:
        def begin(log: IO[bytes]) -> subprocess.Popen[bytes]:
            started = service.start(self.folder, {}, log)
            assert isinstance(started, subprocess.Popen)
            return started

        return Program(service.name, begin, self.logs / f"{service.name}.log")

    def python(self, name: str, arguments: list[str]) -> Program:
        def begin(log: IO[bytes]) -> subprocess.Popen[bytes]:
            return subprocess.Popen(
                [sys.executable, *serve.WARNINGS, "-m", *arguments],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                cwd=PROJECT,
                env=self.environment(),
                start_new_session=True,
            )

        return Program(name, begin, self.logs / f"{name.replace(' ', '-')}.log")

    def environment(self) -> dict[str, str]:
        """What the programs read: database and broker stand behind the lines."""
        return {
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "config.settings",
            "SWARDLINE_DATA": os.fspath(self.folder),
            "DATABASE_URL": f"postgresql://{postgres.USER}@127.0.0.1:{self.to_database.port}/"
            f"{DATABASE}?connect_timeout=3",
            "CELERY_BROKER_URL": f"redis://127.0.0.1:{self.to_broker.port}/0",
            **self.more,
        }

    def direct(self) -> str:
        """The address of the database for whoever checks, past every line."""
        return f"postgresql://{postgres.USER}@/{DATABASE}?host={self.sockets}"

    @property
    def url(self) -> str:
        """Where people reach the pages."""
        return f"http://127.0.0.1:{self.to_web.port}"

    def start_database(self) -> None:
        """Start PostgreSQL and wait until it takes statements; after a crash it may need tries."""
        deadline = time.monotonic() + READY_SECONDS
        ready = postgres.Postgres()
        while time.monotonic() < deadline:
            if not self.database.runs:
                self.database.start()
            if ready.is_ready(self.folder) and self.database.runs:
                return
            time.sleep(LOOK_SECONDS)
        raise AssertionError("the database did not come back")

    def start_broker(self) -> None:
        self.broker.start()
        wait_for(lambda: valkey.Valkey().is_ready(self.folder), "the broker")

    def start_programs(self) -> None:
        for program in (self.web, self.worker, self.clock):
            program.start()
        wait_for(lambda: serve.answers_health(self.port), "the web server")

    def revive(self) -> list[str]:
        """Start again whatever does not run; the names of it."""
        dead = [one for one in (self.web, self.worker, self.clock) if not one.runs]
        for program in dead:
            program.start()
        if not self.broker.runs:
            self.start_broker()
            dead.append(self.broker)
        if not self.database.runs:
            self.start_database()
            dead.append(self.database)
        return [program.name for program in dead]

    def revive_database(self) -> None:
        """Start the database again when it is down, or has lost heart over something."""
        if not postgres.Postgres().is_ready(self.folder):
            self.database.kill()
        self.start_database()

    def stop(self) -> None:
        """End everything, gently, in the order of ``serve.stop_all``."""
        for program in (self.web, self.clock, self.worker):
            program.stop()
        self.broker.stop()
        self.database.stop(postgres.Postgres.stop_signal)
        for line in (self.to_web, self.to_database, self.to_broker):
            line.close()


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as ear:
        return int(ear.getsockname()[1])


def wait_for(true: Callable[[], bool], what: str) -> None:
    """Wait until something holds. Raises AssertionError."""
    deadline = time.monotonic() + READY_SECONDS
    while not true():
        if time.monotonic() > deadline:
            raise AssertionError(f"{what} did not get ready within {READY_SECONDS} s")
        time.sleep(LOOK_SECONDS)
