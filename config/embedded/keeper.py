"""The keeper: starts one embedded server, stays beside it, and stops it after its last user.

Three locks of the kernel (flock) say everything, and none outlives its process: users share
``<service>.users``; the keeper holds ``<service>.keeper``; once it gets ``<service>.users`` for
itself alone, nobody is left, and it stops the server while newcomers wait at that lock.
"""

import argparse
import atexit
import contextlib
import fcntl
import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import IO

import psutil

from config.embedded.errors import EmbeddedError
from config.embedded.postgres import Postgres
from config.embedded.service import Running, Service
from config.embedded.valkey import Valkey

SERVICES: dict[str, Service] = {"postgres": Postgres(), "valkey": Valkey()}

PROJECT = Path(__file__).resolve().parent.parent.parent
START_SECONDS = 60
STOP_SECONDS = 60
LEFT_OVER_SECONDS = 20
# After a crash the shared memory of the old server may still be there for a moment.
START_TRIES = 6
LOOK_AGAIN_SECONDS = 0.02
LOG_LINES_SHOWN = 6
READY = b"ready"

NO_START = "The embedded {name} did not start: {why} Its log is {log}. (Or set {switch}.)"

_joined: dict[tuple[str, Path], IO[bytes]] = {}
_joining = threading.Lock()


def join(name: str, folder: Path, **options: str) -> None:
    """Use an embedded service from here until this process ends; starts it when nobody did.

    Called again it makes sure that the server is still there. Raises EmbeddedError with the reason
    when it cannot be had. Processes forked later count as users of their own.
    """
    service = SERVICES[name]
    with _joining:
        if (name, folder) not in _joined:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            users = lock_file(folder, name, "users")
            fcntl.flock(users, fcntl.LOCK_SH)
            if not _joined:
                atexit.register(leave_all)
            _joined[name, folder] = users
        if not is_kept(service, folder):
            ask_keeper(name, folder, options)


def leave(name: str, folder: Path) -> None:
    """Stop using a service; when this was its last user, wait until it has stopped."""
    users = _joined.pop((name, folder), None)
    if users is None:
        return
    # Closed, not unlocked: processes forked from this one share the lock and may go on.
    users.close()
    deadline = time.monotonic() + STOP_SECONDS
    with lock_file(folder, name, "users") as ours:
        while time.monotonic() < deadline:
            if not is_held(folder, name, "keeper"):
                return
            if held_shared(ours):
                return
            time.sleep(LOOK_AGAIN_SECONDS)


def leave_all() -> None:
    """Stop using every service, in the order opposite to joining."""
    for name, folder in reversed(list(_joined)):
        leave(name, folder)


def held_shared(users: IO[bytes]) -> bool:
    """Whether other users are there: the lock can be shared but not had alone."""
    if try_lock(users, fcntl.LOCK_EX) or not try_lock(users, fcntl.LOCK_SH):
        fcntl.flock(users, fcntl.LOCK_UN)
        return False
    fcntl.flock(users, fcntl.LOCK_UN)
    return True


def is_kept(service: Service, folder: Path) -> bool:
    """Whether a keeper is there and its server takes connections."""
    if not is_held(folder, service.name, "keeper"):
        return False
    ready = (folder / f"{service.name}.keeper").read_bytes() == READY
    return ready and service.is_ready(folder)


def ask_keeper(name: str, folder: Path, options: Mapping[str, str]) -> None:
    """Start a keeper (it finds out by itself that there is one) and wait until it is ready."""
    command = [sys.executable, "-m", "config.embedded.keeper", name, os.fspath(folder)]
    command += [f"{key}={value}" for key, value in options.items()]
    # A session of its own: Ctrl-C is for the program in front, which then leaves in order.
    asked = subprocess.run(
        command,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        cwd=PROJECT,
        start_new_session=True,
    )
    if asked.returncode:
        raise EmbeddedError(asked.stderr.strip() or f"The keeper of {name} ended without a word.")


def lock_file(folder: Path, name: str, what: str) -> IO[bytes]:
    """Open a lock file, which stays where it is for good."""
    return (folder / f"{name}.{what}").open("ab+", buffering=0)


def try_lock(file: IO[bytes], how: int) -> bool:
    """Take a lock if it is free."""
    try:
        fcntl.flock(file, how | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def is_held(folder: Path, name: str, what: str) -> bool:
    """Whether somebody holds a lock (a look only, under a shared lock of a moment)."""
    with lock_file(folder, name, what) as file:
        return not try_lock(file, fcntl.LOCK_SH)


def last_words(log: Path) -> str:
    """The end of a log, on one line."""
    try:
        lines = log.read_text(errors="replace").splitlines()[-LOG_LINES_SHOWN:]
    except OSError:
        return ""
    return " / ".join(line.strip() for line in lines if line.strip())


def started(service: Service, folder: Path, options: Mapping[str, str], log: Path) -> Running:
    """Start the server and wait until it is ready; a start that fails is tried again a few times.

    Raises EmbeddedError with the end of its log.
    """
    stop_left_over(service, folder)
    why = ""
    for attempt in range(START_TRIES):
        time.sleep(attempt * 0.5)
        with log.open("wb") as file:
            server = service.start(folder, options, file)
        remember(service, folder, server.pid)
        deadline = time.monotonic() + START_SECONDS
        while server.poll() is None and time.monotonic() < deadline:
            if service.is_ready(folder):
                return server
            time.sleep(LOOK_AGAIN_SECONDS)
        if server.poll() is None:
            server.kill()
            server.wait()
        why = last_words(log)
    raise EmbeddedError(NO_START.format(name=service.name, why=why, log=log, switch=service.switch))


def remember(service: Service, folder: Path, pid: int) -> None:
    """Keep the server's process number, and when it began: numbers are given out again."""
    with contextlib.suppress(psutil.NoSuchProcess):
        began = psutil.Process(pid).create_time()
        (folder / f"{service.name}.server").write_text(f"{pid} {began}")


def stop_left_over(service: Service, folder: Path) -> None:
    """Stop a server whose keeper was killed: it still holds the data."""
    try:
        pid, began = (folder / f"{service.name}.server").read_text().split()
        server = psutil.Process(int(pid))
        if server.create_time() != float(began):
            return
        server.send_signal(service.stop_signal)
        try:
            server.wait(LEFT_OVER_SECONDS)
        except psutil.TimeoutExpired:
            server.kill()
            server.wait(LEFT_OVER_SECONDS)
    except (OSError, ValueError, psutil.NoSuchProcess):
        return


def stop_after_last_user(service: Service, users: IO[bytes], server: Running) -> None:
    """Wait until nobody shares the lock, then tell the server to stop."""
    fcntl.flock(users, fcntl.LOCK_EX)
    server.send_signal(service.stop_signal)


def keep(
    service: Service, folder: Path, options: Mapping[str, str], said: IO[bytes], own: IO[bytes]
) -> None:
    """Start the server, say that it is ready, and stay until it ends."""
    server = started(service, folder, options, folder / f"{service.name}.log")
    os.pwrite(own.fileno(), READY, 0)
    said.write(READY)
    said.close()
    users = lock_file(folder, service.name, "users")
    threading.Thread(
        target=stop_after_last_user, args=(service, users, server), daemon=True
    ).start()
    server.wait()
    service.socket_path(folder).unlink(missing_ok=True)


@contextlib.contextmanager
def words_for(said: IO[bytes]) -> Iterator[None]:
    """Hand what goes wrong to the process that asked for the keeper."""
    try:
        yield
    except (EmbeddedError, OSError) as error:
        said.write(str(error).encode())
        said.close()


def wait_for_other(service: Service, folder: Path) -> bool:
    """Wait for a keeper that was faster; False when it went away instead of getting ready."""
    while is_held(folder, service.name, "keeper"):
        if is_kept(service, folder):
            return True
        time.sleep(LOOK_AGAIN_SECONDS)
    return False


def become_keeper(
    service: Service, folder: Path, options: Mapping[str, str], own: IO[bytes]
) -> str:
    """Fork the keeper, which goes on by itself. Returns what went wrong, or nothing."""
    reader, writer = os.pipe()
    if os.fork() == 0:
        os.close(reader)
        silence = os.open(os.devnull, os.O_RDWR)
        for number in (0, 1, 2):
            os.dup2(silence, number)
        with os.fdopen(writer, "wb") as said, words_for(said):
            keep(service, folder, options, said, own)
        os._exit(0)
    os.close(writer)
    own.close()
    with os.fdopen(reader, "rb") as heard:
        words = heard.read()
    return "" if words == READY else words.decode() or "The keeper ended without a word."


def main() -> int:
    """Be the keeper of a service, or find that there is one; ends when the server is ready."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("service", choices=sorted(SERVICES))
    parser.add_argument("folder", type=Path)
    parser.add_argument("options", nargs="*", metavar="NAME=VALUE")
    given = parser.parse_args()
    service, folder = SERVICES[given.service], given.folder
    options = dict(option.split("=", 1) for option in given.options)
    while True:
        own = lock_file(folder, service.name, "keeper")
        if try_lock(own, fcntl.LOCK_EX):
            own.truncate(0)
            words = become_keeper(service, folder, options, own)
            sys.stderr.write(words)
            return 1 if words else 0
        own.close()
        if wait_for_other(service, folder):
            return 0


if __name__ == "__main__":
    sys.exit(main())
