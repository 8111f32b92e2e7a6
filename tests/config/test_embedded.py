"""The embedded servers: started by the first user, shared, gone after the last one."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import psutil
import pytest

from config.embedded import keeper, service, valkey
from config.embedded.errors import EmbeddedError
from config.embedded.keeper import join, leave

PATIENCE_SECONDS = 20
# A process that uses the server until its input is closed.
USER = """
import sys
from pathlib import Path
from config.embedded.keeper import join
join("valkey", Path(sys.argv[1]))
print("joined", flush=True)
sys.stdin.read()
"""


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    yield tmp_path
    leave("valkey", tmp_path)


def server_of(folder: Path) -> psutil.Process:
    pid, _ = (folder / "valkey.server").read_text().split()
    return psutil.Process(int(pid))


def is_up(folder: Path) -> bool:
    return keeper.is_kept(valkey.Valkey(), folder)


def soon(happened: Callable[[], bool]) -> bool:
    deadline = time.monotonic() + PATIENCE_SECONDS
    while time.monotonic() < deadline:
        if happened():
            return True
        time.sleep(0.02)
    return False


def another_user(folder: Path) -> subprocess.Popen[str]:
    user = subprocess.Popen(
        [sys.executable, "-c", USER, os.fspath(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=keeper.PROJECT,
    )
    assert user.stdout is not None
    assert user.stdout.readline() == "joined\n"
    return user


def end(user: subprocess.Popen[str]) -> None:
    user.communicate()
    assert user.returncode == 0


def test_joining_starts_the_server_and_leaving_stops_it(folder: Path) -> None:
    join("valkey", folder)
    server = server_of(folder)
    assert is_up(folder)

    leave("valkey", folder)

    assert not server.is_running()
    assert not is_up(folder)


def test_joining_twice_is_the_same_as_once(folder: Path) -> None:
    join("valkey", folder)
    server = server_of(folder)

    join("valkey", folder)

    assert server_of(folder) == server


def test_the_server_stays_while_somebody_else_uses_it(folder: Path) -> None:
    other = another_user(folder)
    join("valkey", folder)

    leave("valkey", folder)

    assert is_up(folder)
    end(other)
    assert not is_up(folder)


def test_a_user_that_is_killed_leaves_nothing_running(folder: Path) -> None:
    other = another_user(folder)
    server = server_of(folder)

    other.kill()
    other.communicate()

    assert soon(lambda: not server.is_running())


def test_two_that_join_at_the_same_moment_share_one_server(folder: Path) -> None:
    users = [
        subprocess.Popen(
            [sys.executable, "-c", USER, os.fspath(folder)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=keeper.PROJECT,
        )
        for _ in range(3)
    ]
    joined = [user.stdout.readline() for user in users if user.stdout]
    sockets = os.fspath(valkey.Valkey().socket_path(folder))
    servers = [p for p in psutil.process_iter(["cmdline"]) if is_server(p, sockets)]

    assert joined == ["joined\n"] * 3
    assert len(servers) == 1
    for user in users:
        end(user)
    assert not is_up(folder)


def is_server(process: psutil.Process, socket_path: str) -> bool:
    return any(socket_path in part for part in process.info["cmdline"] or [])


def test_a_server_that_crashed_is_started_again_by_the_next_join(folder: Path) -> None:
    join("valkey", folder)
    crashed = server_of(folder)
    crashed.send_signal(signal.SIGKILL)
    assert soon(lambda: not is_up(folder))

    join("valkey", folder)

    assert is_up(folder)
    assert server_of(folder) != crashed


def test_a_server_whose_keeper_was_killed_is_replaced(folder: Path) -> None:
    join("valkey", folder)
    orphan = server_of(folder)
    parent = orphan.parent()
    assert parent is not None
    parent.send_signal(signal.SIGKILL)
    assert soon(lambda: not keeper.is_held(folder, "valkey", "keeper"))

    join("valkey", folder)

    assert is_up(folder)
    assert not orphan.is_running()


def test_a_number_given_to_another_program_is_left_alone(folder: Path) -> None:
    (folder / "valkey.server").write_text(f"{os.getpid()} 1.5")

    keeper.stop_left_over(valkey.Valkey(), folder)

    assert psutil.Process(os.getpid()).is_running()


def test_what_was_handed_over_outlives_the_server(folder: Path) -> None:
    join("valkey", folder)
    with_client(folder, "SET", "grass", "cut")
    leave("valkey", folder)

    join("valkey", folder)

    assert with_client(folder, "GET", "grass") == b"$3\r\ncut\r\n"


def with_client(folder: Path, *words: str) -> bytes:
    with service.connected(valkey.Valkey().socket_path(folder)) as client:
        client.sendall(" ".join(words).encode() + b"\r\n")
        return client.recv(100)


def test_where_the_wheel_has_no_server_the_switch_is_named(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(valkey, "package_folder", lambda name: tmp_path)

    with pytest.raises(EmbeddedError, match="Set CELERY_BROKER_URL to a Valkey, Redis"):
        valkey.program()


def test_a_server_that_ends_at_once_is_reported_with_the_end_of_its_log(tmp_path: Path) -> None:
    (tmp_path / "valkey").write_text("a file where the folder has to be")

    with pytest.raises(EmbeddedError, match="File exists"):
        join("valkey", tmp_path)

    leave("valkey", tmp_path)


def test_the_sockets_of_a_deep_folder_lie_in_a_short_one(tmp_path: Path) -> None:
    deep = tmp_path / ("x" * 60) / ("y" * 60)

    path = valkey.Valkey().socket_path(deep)

    assert len(os.fsencode(path)) <= service.LONGEST_SOCKET_PATH
    assert not path.is_relative_to(deep)
    assert path != valkey.Valkey().socket_path(tmp_path / "other")


def test_the_address_of_the_broker_starts_nothing(tmp_path: Path) -> None:
    assert valkey.url(tmp_path).startswith("redis+socket:///")
    assert list(tmp_path.iterdir()) == []
