"""PostgreSQL servers on folders of their own, for tests of what happens between servers."""

import os
import socket
import socketserver
import subprocess
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import psycopg

from config.embedded import postgres
from config.embedded.account import Account

USER = "keeper"
WAIT_SECONDS = 60


class Server:
    """A PostgreSQL server on a folder of its own, reached by a socket."""

    def __init__(
        self, account: Account, data: Path, sockets: Path, user: str = USER, **options: str
    ) -> None:
        self.account, self.data, self.sockets, self.user = account, data, sockets, user
        self.options = options
        self.process: subprocess.Popen[bytes] | None = None

    def program(self, name: str, *options: Any) -> None:
        """Run one of PostgreSQL's programs to its end."""
        path = postgres.programs_for(self.account) / name
        done = subprocess.run(
            [*self.account.prefix, os.fspath(path), *map(str, options)],
            capture_output=True,
            text=True,
            check=False,
            cwd="/",
            **self.account.options(),
        )
        assert done.returncode == 0, done.stderr

    def start(self) -> None:
        path = postgres.programs_for(self.account) / "postgres"
        options = [f"--{name}={value}" for name, value in self.options.items()]
        with (self.sockets / "server.log").open("ab") as log:
            self.process = subprocess.Popen(
                [*self.account.prefix, os.fspath(path), "-D", os.fspath(self.data), *options],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                cwd="/",
                **self.account.options(),
            )
        wait_for(lambda: self.ask("SELECT 1") == [(1,)])

    def stop(self) -> None:
        if self.process and self.process.poll() is None:
            self.process.send_signal(postgres.Postgres.stop_signal)
            self.process.wait(WAIT_SECONDS)

    def ask(self, *statements: str) -> Sequence[Any]:
        with psycopg.connect(
            host=os.fspath(self.sockets),
            user=self.user,
            dbname="postgres",
            autocommit=True,
            options=f"-c statement_timeout={WAIT_SECONDS}s",
        ) as own:
            found: Sequence[Any] = []
            for statement in statements:
                cursor = own.execute(statement.encode())
                found = cursor.fetchall() if cursor.description else []
            return found


def wait_for(condition: Any, seconds: float = WAIT_SECONDS) -> None:
    deadline = time.monotonic() + seconds
    while True:
        try:
            if condition():
                return
        except psycopg.OperationalError:
            pass
        assert time.monotonic() < deadline, "the server did not get there in time"
        time.sleep(0.1)


@contextmanager
def at_an_address(host: str, path: Path) -> Iterator[int]:
    """Answer at an address of its own for a server that only has a socket; the port."""

    class Carry(socketserver.BaseRequestHandler):
        def handle(self) -> None:
            with socket.socket(socket.AF_UNIX) as there:
                there.connect(os.fspath(path))
                back = threading.Thread(target=carry, args=[there, self.request], daemon=True)
                back.start()
                carry(self.request, there)
                back.join()

    class Front(socketserver.ThreadingTCPServer):
        daemon_threads = True

    with Front((host, 0), Carry) as front:
        threading.Thread(target=front.serve_forever, daemon=True).start()
        try:
            yield int(front.server_address[1])
        finally:
            front.shutdown()


def carry(here: socket.socket, there: socket.socket) -> None:
    """Hand on what one side says until it ends."""
    try:
        while said := here.recv(65536):
            there.sendall(said)
    except OSError:
        pass
    finally:
        with suppress(OSError):
            there.shutdown(socket.SHUT_WR)
