"""What is far too large, or swells when it is opened, is refused before it is read or written."""

import gzip
import io
import os
import socket
import subprocess
import sys
import time
import tracemalloc
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psutil
import pytest
from django.conf import settings
from django.test import Client

from config.loading import loader_named
from tests.cast import Api
from tests.fuzz.files import read_table
from tests.fuzz.running import MEGABYTE

HUGE = 200_000_000
ZEROS = b"0" * 50_000_000
ALLOWED_MB = 24


@pytest.fixture(scope="module")
def web(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[int, psutil.Process, Path]]:
    """The web server as in use, on a port of its own; its process, and where it may put files."""
    place = tmp_path_factory.mktemp("web")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = ["-m", "gunicorn", "config.wsgi:application", "--bind", f"127.0.0.1:{port}"]
    command += ["--worker-class", "gthread", "--threads", "2", "--no-control-socket"]
    environment = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "config.settings_test",
        "TMPDIR": str(place),
    }
    server = subprocess.Popen([sys.executable, *command], env=environment, cwd=settings.BASE_DIR)
    try:
        wait_for(port, server)
        # The program is loaded with the first request.
        send(port, HEAD.format(path="/nowhere/", length=HUGE), 0)
        yield port, psutil.Process(server.pid), place
    finally:
        server.terminate()
        server.wait(20)


def wait_for(port: int, server: Any) -> None:
    deadline = time.monotonic() + 120
    while time.monotonic() < deadline and server.poll() is None:
        with socket.socket() as probe:
            probe.settimeout(1)
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.2)
    raise AssertionError("the web server did not start")


def send(port: int, head: str, pieces: int) -> tuple[str, int]:
    """Send a head and as many pieces of 64 kB as are taken; the answer, and how many those were."""
    answer, sent = b"", 0
    with socket.create_connection(("127.0.0.1", port), timeout=60) as line:
        line.sendall(head.replace("\n", "\r\n").encode() + b"\r\n\r\n")
        try:
            while sent < pieces:
                line.sendall(b"x" * 65536)
                sent += 1
            while not answer.endswith(b"0\r\n\r\n") and (more := line.recv(65536)):
                answer += more
        except OSError:
            # Hung up on.
            pass
    return answer.decode("latin-1"), sent


def resident(process: psutil.Process) -> float:
    """The memory of the server and its workers, in MB."""
    return (
        sum(one.memory_info().rss for one in (process, *process.children(recursive=True)))
        / MEGABYTE
    )


HEAD = """POST {path} HTTP/1.1
Host: 127.0.0.1
Content-Type: multipart/form-data; boundary=x
Content-Length: {length}
Idempotency-Key: large"""


@pytest.mark.parametrize(
    ("path", "length"),
    [
        ("/uploads/new/", HUGE),
        ("/api/laboratory-files/", HUGE),
        ("/api/doses/", 40_000_000),
        ("/login/", 40_000_000),
        ("/nowhere/", 40_000_000),
    ],
)
def test_200_mb_are_refused_before_they_are_sent(web: Any, path: str, length: int) -> None:
    port, process, place = web
    before = resident(process)
    answer, _ = send(port, HEAD.format(path=path, length=length), 0)
    assert answer.startswith("HTTP/1.1 413 ")
    # Who sends it all the same is hung up on, and it is put nowhere.
    _, sent = send(port, HEAD.format(path=path, length=length), length // 65536)
    assert sent < length // 65536
    assert resident(process) < before + 30
    assert sum(file.stat().st_size for file in place.rglob("*") if file.is_file()) < MEGABYTE


def test_a_body_without_its_length_is_not_kept(web: Any) -> None:
    port, process, place = web
    before = resident(process)
    head = "POST /login/ HTTP/1.1\nHost: 127.0.0.1\nTransfer-Encoding: chunked\n"
    head += "Content-Type: application/x-www-form-urlencoded"
    with socket.create_connection(("127.0.0.1", port), timeout=30) as line:
        line.sendall(head.replace("\n", "\r\n").encode() + b"\r\n\r\n")
        try:
            for _ in range(3000):
                line.sendall(b"10000\r\n" + b"x" * 65536 + b"\r\n")
        except OSError:
            # Hung up on.
            pass
    assert resident(process) < before + 30
    assert not [file for file in place.rglob("*") if file.is_file() and file.stat().st_size]


def zipped(name: str) -> bytes:
    """A zip archive of a few kB that would be fifty megabytes."""
    kept = io.BytesIO()
    with zipfile.ZipFile(kept, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, ZEROS)
    return kept.getvalue()


BOMBS = {
    "a zip archive": lambda: zipped("list.csv"),
    "a workbook": lambda: zipped("xl/worksheets/sheet1.xml"),
    "an open document": lambda: zipped("content.xml"),
    "a packed file": lambda: gzip.compress(ZEROS),
}


@pytest.mark.parametrize("name", BOMBS)
def test_what_swells_is_never_unpacked(name: str) -> None:
    bomb = BOMBS[name]()
    assert len(bomb) < 100_000
    tracemalloc.start()
    try:
        for kind in ("milkings", "lot-tests"):
            assert not read_table(loader_named(kind), {}, bomb)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 5 * MEGABYTE


def test_a_packed_body_is_not_unpacked(vet_api: Api) -> None:
    answer = vet_api.client.post(
        "/api/groups/",
        gzip.compress(b" " * 20_000_000),
        "application/json",
        headers={"Content-Encoding": "gzip", "Idempotency-Key": "packed"},
    )
    assert answer.status_code == 400


@pytest.mark.django_db
def test_a_page_that_takes_no_file_takes_no_more_than_a_form() -> None:
    sent = {"username": "x", "file": io.BytesIO(b"x" * 3_000_000)}
    answer = Client().post("/login/", sent)
    assert answer.status_code == 413
    assert "too large to take in at once" in answer.content.decode()
    assert Client().post("/api/doses/", "x" * 3_000_000, "application/json").status_code == 413


@pytest.mark.django_db
def test_a_file_up_to_the_limit_is_let_in(
    office_client: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(settings, "LOAD_LIMIT_MB", 4)
    sent = {"kind": "groups", "file": io.BytesIO(b"number;name\n1;" + b"x" * 3_000_000)}
    assert office_client.send("/uploads/new/", **sent).status_code == 302
    sent["file"] = io.BytesIO(b"number;name\n" + b"1;x\n" * 1_500_000)
    assert office_client.send("/uploads/new/", **sent).status_code == 413


@pytest.mark.parametrize(
    "text",
    [
        "cow;date;milking;kg\n" + "".join(f"{n};01.06.2026;M;{n}\n" for n in range(40_000)),
        "cow;date;milking;kg\n1042;01.06.2026;M;" + '"' + "x\n" * 500_000,
        ";".join(f"column {n}" for n in range(200_000)) + "\n1;2",
        "cow;date;milking;kg\n" + ";" * 900_000,
        "\n" * 900_000 + "cow;date\n1;2",
    ],
    ids=["many rows", "an open quote", "many columns", "a wide row", "empty rows"],
)
def test_memory_stays_in_proportion_to_the_file(text: str) -> None:
    tracemalloc.start()
    try:
        read_table(loader_named("milkings"), {}, text.encode())
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < ALLOWED_MB * MEGABYTE + 8 * len(text)
