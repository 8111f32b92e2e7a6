"""Brokers of the distribution's packages, started on an address of their own and stopped again.

Where one is missing its tests are skipped and say how to get it; with ``CI=true`` they fail.
"""

import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

START_SECONDS, STOP_SECONDS = 90, 30
# Where Debian and Ubuntu keep the server itself; the one on the path wants an account of its own.
RABBITMQ = Path("/usr/lib/rabbitmq/bin/rabbitmq-server")
MISSING = "There is no {name} here: apt install {package}, and stop the service it starts."


def free_port(host: str) -> int:
    """A port nobody listens at on this address."""
    with socket.socket() as probe:
        probe.bind((host, 0))
        return int(probe.getsockname()[1])


def wanted(found: str | None, name: str, package: str) -> str:
    """A program that must be there in CI, and may be missing elsewhere."""
    if found is None:
        say = pytest.fail if os.environ.get("CI") else pytest.skip
        say(MISSING.format(name=name, package=package))
    assert found is not None
    return found


@contextmanager
def running(
    command: list[str],
    folder: Path,
    answers: Callable[[], bool],
    environment: dict[str, str] | None = None,
) -> Iterator[None]:
    """Run a server in a session of its own until the block ends."""
    log = folder / "server.log"
    with log.open("wb") as output:
        server = subprocess.Popen(
            command,
            cwd=folder,
            env={**os.environ, **(environment or {})},
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=output,
            start_new_session=True,
        )
    try:
        deadline = time.monotonic() + START_SECONDS
        while not answers():
            ended = server.poll() is not None or time.monotonic() > deadline
            assert not ended, log.read_text(errors="replace")[-2000:]
            time.sleep(0.1)
        yield
    finally:
        server.terminate()
        try:
            server.wait(STOP_SECONDS)
        except subprocess.TimeoutExpired:
            os.killpg(server.pid, signal.SIGKILL)
            server.wait()


@contextmanager
def redis(folder: Path) -> Iterator[str]:
    """A Redis server that keeps what it is given, as PRODUCTION.md sets it; its address."""
    program = wanted(shutil.which("redis-server"), "Redis", "redis-server")
    host = "127.0.0.3"
    port = free_port(host)
    settings = {"bind": host, "port": str(port), "appendonly": "yes", "dir": str(folder)}
    command = [program]
    for name, value in {**settings, "maxmemory-policy": "noeviction", "save": ""}.items():
        command += [f"--{name}", value]
    with running(command, folder, lambda: says((host, port), b"PING\r\n", b"+PONG")):
        yield f"redis://{host}:{port}/0"


@contextmanager
def rabbitmq(folder: Path) -> Iterator[str]:
    """A RabbitMQ server; its address. The small server that names its node goes with it."""
    program = wanted(str(RABBITMQ) if RABBITMQ.exists() else None, "RabbitMQ", "rabbitmq-server")
    host = "127.0.0.4"
    port, names = free_port(host), free_port("127.0.0.1")
    environment = {
        "HOME": str(folder),
        "RABBITMQ_NODENAME": f"book{port}@localhost",
        "RABBITMQ_NODE_IP_ADDRESS": host,
        "RABBITMQ_NODE_PORT": str(port),
        "RABBITMQ_DIST_PORT": str(free_port("127.0.0.1")),
        "RABBITMQ_MNESIA_BASE": str(folder),
        "RABBITMQ_LOG_BASE": str(folder),
        "RABBITMQ_PID_FILE": str(folder / "pid"),
        "RABBITMQ_ENABLED_PLUGINS_FILE": str(folder / "no-plugins"),
        "ERL_EPMD_PORT": str(names),
        "ERL_EPMD_ADDRESS": "127.0.0.1",
    }
    # The protocol's own header: whoever speaks it answers with a first frame, a method (type 1).
    asked = b"AMQP\x00\x00\x09\x01"
    try:
        with running(
            [program], folder, lambda: says((host, port), asked, b"\x01\x00\x00"), environment
        ):
            yield f"amqp://guest:guest@{host}:{port}//"
    finally:
        subprocess.run(
            ["epmd", "-port", str(names), "-kill"],
            env={**os.environ, **environment},
            capture_output=True,
            check=False,
        )


def says(place: tuple[str, int], asked: bytes, begins: bytes) -> bool:
    """Whether a server answers what it is asked."""
    try:
        with socket.create_connection(place, timeout=2) as client:
            client.sendall(asked)
            return client.recv(64).startswith(begins)
    except OSError:
        return False
