"""PostgreSQL servers on folders of their own, for tests of what happens between servers."""

import os
import subprocess
import time
from collections.abc import Sequence
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


def wait_for(condition: Any) -> None:
    deadline = time.monotonic() + WAIT_SECONDS
    while True:
        try:
            if condition():
                return
        except psycopg.OperationalError:
            pass
        assert time.monotonic() < deadline, "the server did not get there in time"
        time.sleep(0.1)
