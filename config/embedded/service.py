"""What an embedded server has to answer for the keeper, and what both of them share."""

import hashlib
import os
import signal
import socket
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import IO, Protocol

# sun_path holds 108 bytes with its closing zero (unix(7)); macOS holds 104.
LONGEST_SOCKET_PATH = 103
CONNECT_SECONDS = 2.0


class Running(Protocol):
    """A server that was started."""

    pid: int

    def poll(self) -> int | None: ...

    def wait(self, timeout: float | None = None) -> int: ...

    def send_signal(self, sig: int) -> None: ...

    def kill(self) -> None: ...


class Service(Protocol):
    """One embedded server. ``folder`` is the data folder of Swardline."""

    name: str
    stop_signal: signal.Signals
    switch: str

    def socket_path(self, folder: Path) -> Path: ...

    def start(self, folder: Path, options: Mapping[str, str], log: IO[bytes]) -> Running: ...

    def is_ready(self, folder: Path) -> bool: ...


def package_folder(name: str) -> Path | None:
    """Where an installed package lies, without running any of its code; None when it is missing."""
    spec = find_spec(name)
    if spec is None or spec.origin is None:
        return None
    return Path(spec.origin).parent


def socket_folder(folder: Path, longest_name: str) -> Path:
    """A folder for sockets: in the data folder, or a short one where its path would be too long."""
    near = folder / "run"
    if len(os.fsencode(near / longest_name)) <= LONGEST_SOCKET_PATH:
        return near
    digest = hashlib.sha256(os.fsencode(folder)).hexdigest()[:12]
    short = Path(tempfile.gettempdir()) / f"swardline-{os.geteuid()}-{digest}"
    if len(os.fsencode(short / longest_name)) <= LONGEST_SOCKET_PATH:
        return short
    return Path("/tmp") / short.name


@contextmanager
def connected(path: Path) -> Iterator[socket.socket]:
    """A connection to a socket. Raises OSError when nobody takes it."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as client:
        client.settimeout(CONNECT_SECONDS)
        client.connect(os.fspath(path))
        yield client


def answers(path: Path) -> bool:
    """Whether somebody takes connections at a socket."""
    try:
        with connected(path):
            return True
    except OSError:
        return False
