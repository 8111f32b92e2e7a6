"""PostgreSQL's own programs, from the path or from the wheel, and how they reach a database."""

import os
import re
import shutil
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from psycopg.conninfo import make_conninfo

from config.backup import BackupError
from config.embedded import postgres
from config.embedded.errors import EmbeddedError

NONE = (
    "There is no {name} of PostgreSQL {least} or newer here. Install the client programs of your "
    "server's version (on Debian and Ubuntu the package postgresql-client) and try again."
)
FAILED = "{name} ended with code {code}: {why}"
LINES_SHOWN = 4
# What Django keeps in the options of a connection and libpq does not know.
NOT_LIBPQ = {
    "pool", "isolation_level", "assume_role", "service", "passfile", "server_side_binding",
    "client_encoding", "cursor_factory", "context", "prepare_threshold",
}  # fmt: skip


def found(name: str) -> Iterator[Path]:
    """Every program of this name: that of the path, then that of the wheel."""
    on_path = shutil.which(name)
    if on_path:
        yield Path(on_path)
    try:
        yield postgres.programs() / name
    except EmbeddedError:
        return


@cache
def major_of(program: Path) -> int:
    """The major version a program tells of itself; 0 when it does not run."""
    told = subprocess.run([program, "--version"], capture_output=True, text=True, check=False)
    number = re.search(r"\) (\d+)", told.stdout)
    return int(number[1]) if number else 0


def program(name: str, least: int) -> Path:
    """The oldest program that knows version ``least``. Raises BackupError when there is none.

    A newer program writes settings that an older server does not take, an older one refuses.
    """
    known = [(major_of(path), path) for path in found(name) if path.exists()]
    fitting = sorted((major, path) for major, path in known if major >= least)
    if not fitting:
        raise BackupError(NONE.format(name=name, least=least))
    return fitting[0][1]


def address_of(params: Mapping[str, Any]) -> tuple[str, dict[str, str]]:
    """A connection's parameters as an address without its secret, and an environment with it."""
    known = {
        name: value
        for name, value in params.items()
        if name not in NOT_LIBPQ and value not in (None, "")
    }
    secret = known.pop("password", "")
    environment = {**os.environ, "PGAPPNAME": "swardline backup"}
    if secret:
        environment["PGPASSWORD"] = str(secret)
    return make_conninfo(**{str(name): str(value) for name, value in known.items()}), environment


def run(command: Sequence[str | Path], environment: Mapping[str, str]) -> None:
    """Run a program to its end. Raises BackupError with its last words."""
    done = subprocess.run(
        command, env=environment, stdin=subprocess.DEVNULL, capture_output=True, check=False
    )
    if done.returncode:
        lines = done.stderr.decode(errors="replace").strip().splitlines()[-LINES_SHOWN:]
        why = " / ".join(line.strip() for line in lines) or "it said nothing"
        name = Path(command[0]).name
        raise BackupError(FAILED.format(name=name, code=done.returncode, why=why))
