"""A database that is read only, away, or on a full disk: the page says so, entries are kept or
clearly refused, and afterwards each acknowledged one is there exactly once.

On a service of its own, on a small disk that can be filled (where this system lets one be mounted).
"""

import http.client
import json
import os
import re
import subprocess
import time
from collections.abc import Iterator
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

import psycopg
import pytest
from django.conf import settings
from django.contrib.auth.models import User
from django.db import connection

from config import errors
from config.access.models import MachineToken
from config.embedded import serve
from tests.drills.book import Person, person
from tests.drills.faults import address_of, as_in, make_database
from tests.drills.service import Estate, wait_for

pytestmark = pytest.mark.django_db

DISK = "320m"
CHUNK = 64 * 1024
# More than that is never needed until a full disk is felt.
ENOUGH_ENTRIES = 400

# Status, text and headers.
Answer = tuple[int, str, Any]


class Writer:
    """Somebody who writes fields by the API and reads pages, and keeps what the answers said."""

    def __init__(self, estate: Estate, who: Person) -> None:
        self.port, self.who = estate.port, who
        self.acknowledged: list[str] = []
        self.refused: list[str] = []

    def ask(
        self, method: str, path: str, body: bytes = b"", **headers: str
    ) -> tuple[int, str, Any]:
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            named = {name.replace("_", "-"): value for name, value in headers.items()}
            line.request(method, path, body, {**named, "Connection": "close"})
            answer = line.getresponse()
            return answer.status, answer.read().decode(), answer.headers
        finally:
            line.close()

    def writes(self, key: str = "", name: str = "") -> tuple[int, str]:
        """A field by the API; status and what is said."""
        name = name or f"Field {uuid4()}"
        body = {"name": name, "hectares": "3", "happened_at": "2026-06-02T12:00:00+02:00"}
        status, text, _ = self.ask(
            "POST", "/api/fields/", json.dumps(body).encode(),
            Authorization=f"Token {self.who.token}",
            Content_Type="application/json",
            Idempotency_Key=key or str(uuid4()),
        )  # fmt: skip
        told = json.loads(text)
        if status in (200, 201):
            self.acknowledged.append(name)
            return status, ""
        if "Nothing was saved" in told["detail"]:
            self.refused.append(name)
        return status, str(told["detail"])

    def reads(self, path: str, **headers: str) -> Answer:
        cookie = f"{settings.SESSION_COOKIE_NAME}={self.who.session}"
        status, text, told = self.ask("GET", path, Cookie=cookie, **headers)
        return status, " ".join(text.split()), told


def mounted(folder: Path) -> bool:
    """Whether the folder is a small disk of its own now."""
    command = ["mount", "-t", "tmpfs", "-o", f"size={DISK},mode=0700", "tmpfs", os.fspath(folder)]
    with suppress(OSError):
        return subprocess.run(command, capture_output=True, check=False).returncode == 0
    return False


def with_somebody(made: Estate) -> Person:
    """Take the tables of the test database over, with an office hand whom only the copy keeps."""
    User.objects.filter(username="drill-office").delete()
    who = person("drill-office", ("office",))
    try:
        make_database(made.sockets)
        as_in(address_of(connection.settings_dict), made.sockets)
    finally:
        MachineToken.objects.all().delete()
        import_module(settings.SESSION_ENGINE).SessionStore(who.session).delete()
        User.objects.filter(pk=who.number).delete()
    return who


@pytest.fixture(scope="module")
def estate(
    tmp_path_factory: pytest.TempPathFactory, django_db_setup: None, django_db_blocker: Any
) -> Iterator[tuple[Estate, Person, bool]]:
    """A service with the tables of the test database, an office hand, whether its disk is small."""
    folder = tmp_path_factory.mktemp("trouble")
    small = mounted(folder)
    made = Estate(folder, {"SECRET_KEY": settings.SECRET_KEY})
    try:
        made.start_database()
        with django_db_blocker.unblock():
            who = with_somebody(made)
        made.start_broker()
        made.web.start()
        wait_for(lambda: serve.answers_health(made.port), "the web server")
        yield made, who, small
    finally:
        made.stop()
        if small:
            subprocess.run(["umount", "-l", os.fspath(folder)], check=False)


@pytest.fixture
def writer(estate: tuple[Estate, Person, bool]) -> Iterator[Writer]:
    made, who, _ = estate
    one = Writer(made, who)
    yield one
    # However it went: what was acknowledged is there once, and what was not saved is not.
    with psycopg.connect(made.direct(), autocommit=True) as book:
        rows = book.execute("SELECT name FROM feed_field").fetchall()
    there = [name for (name,) in rows]
    assert [there.count(name) for name in one.acknowledged] == [1] * len(one.acknowledged)
    assert not set(there) & set(one.refused)
    assert one.acknowledged


def order(estate: Estate, *statements: str) -> None:
    with psycopg.connect(estate.direct(), autocommit=True) as own:
        for statement in statements:
            own.execute(statement.encode())


def words_of(page: str) -> str:
    """What stands in the box of a page of a problem."""
    found = re.search(r'<div class="error" role="alert"><p>(.*?)</p>', page)
    assert found, page[:500]
    return found.group(1)


def test_a_read_only_database(estate: Any, writer: Writer) -> None:
    made, who, _ = estate
    assert writer.writes()[0] == 201
    order(made, "ALTER SYSTEM SET default_transaction_read_only = on", "SELECT pg_reload_conf()")
    try:
        wait_for(lambda: writer.writes() == (503, errors.READ_ONLY), "the refusal")
        # What is written can be read all the same, also by who is signed in already.
        assert writer.reads("/entries/fields/")[0] == 200
        assert writer.reads("/")[0] == 200
        csrf = "a" * 32
        fields = {"username": "drill-office", "password": "-", "csrfmiddlewaretoken": csrf}
        status, page, _ = writer.ask(
            "POST", "/login/", urlencode(fields).encode(),
            Cookie=f"{settings.CSRF_COOKIE_NAME}={csrf}",
            Content_Type="application/x-www-form-urlencoded",
        )  # fmt: skip
        assert (status, words_of(" ".join(page.split()))) == (503, errors.READ_ONLY)
    finally:
        order(made, "ALTER SYSTEM RESET default_transaction_read_only", "SELECT pg_reload_conf()")
    wait_for(lambda: writer.writes()[0] == 201, "the book to be written again")


def test_a_database_that_is_away_and_comes_back(estate: Any, writer: Writer) -> None:
    made, _, _ = estate
    assert writer.writes()[0] == 201
    made.database.kill()
    key, name = str(uuid4()), f"Field {uuid4()}"
    began = time.monotonic()
    assert writer.writes(key, name) == (503, errors.DATABASE_AWAY)
    assert time.monotonic() - began < 15
    for path in ("/", "/feed/board/", "/entries/fields/"):
        began = time.monotonic()
        status, page, headers = writer.reads(path, Accept_Language="de")
        assert time.monotonic() - began < 15
        assert status == 503
        assert words_of(page).startswith("Die Datenbank des Buchs antwortet gerade nicht.")
        assert "gespeichert" not in words_of(page)
        assert headers["Retry-After"] == "5"
        # Nobody is signed out by it.
        assert "Set-Cookie" not in headers
    assert writer.reads("/phone/")[0] == 503
    assert json.loads(writer.ask("GET", "/health")[1])["database"] == "away"
    made.start_database()
    began = time.monotonic()
    wait_for(lambda: writer.writes(key, name)[0] in (200, 201), "the same entry to be taken")
    assert time.monotonic() - began < 15
    assert writer.reads("/entries/fields/")[0] == 200
    # The one that was sent while nobody knew counts once.
    writer.acknowledged = list(dict.fromkeys(writer.acknowledged))


def test_a_full_disk(estate: Any, writer: Writer) -> None:
    made, _, small = estate
    if not small:
        pytest.skip("this system does not let a small disk be mounted")
    assert writer.writes()[0] == 201
    ballast = made.folder / "ballast"
    told: set[str] = set()
    try:
        fill_up(ballast)
        for _ in range(ENOUGH_ENTRIES):
            status, words = writer.writes()
            if status != 201:
                assert status == 503
                told.add(words)
            if errors.DISK_FULL in told:
                break
            fill_up(ballast)
        assert told
        assert told <= {errors.DISK_FULL, errors.DATABASE_AWAY}
        if made.database.runs:
            # Reading goes on, and the page of what runs says what to do.
            status, page, _ = writer.reads("/running/")
            assert status == 200
            assert "Make room before the disk is full." in page
    finally:
        ballast.unlink(missing_ok=True)
        made.revive_database()
    wait_for(lambda: writer.writes()[0] == 201, "the book to be written again")
    assert errors.DISK_FULL in told


def fill_up(ballast: Path) -> None:
    """Leave nothing free on the disk."""
    with ballast.open("ab", buffering=0) as file, suppress(OSError):
        while True:
            file.write(bytes(CHUNK))
    with ballast.open("ab", buffering=0) as file, suppress(OSError):
        while True:
            file.write(bytes(512))
