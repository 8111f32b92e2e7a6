"""The embedded PostgreSQL: laid out once, run as somebody who is not root, found by Django."""

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import psutil
import psycopg
import pytest
from django.conf import settings
from django.db import connection

from config.embedded import account, keeper, postgres
from config.embedded.account import Account, account_for
from config.embedded.errors import EmbeddedError
from config.embedded.postgres import Postgres

# Asks through Django, in a process of its own, on a data folder of its own.
ASK = """
import django
django.setup()
from django.db import connection
with connection.cursor() as cursor:
    cursor.execute("SELECT current_database(), current_setting('fsync')")
    print(*cursor.fetchone())
"""

as_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root has to become somebody else")


def setting(name: str) -> str:
    with connection.cursor() as cursor:
        cursor.execute("SELECT current_setting(%s)", [name])
        return str(cursor.fetchone()[0])


@pytest.fixture
def engine() -> None:
    if connection.settings_dict["ENGINE"] != "config.embedded.postgresql":
        pytest.skip("DATABASE_URL points to another server")


@pytest.mark.django_db
@pytest.mark.usefixtures("engine")
def test_the_tests_run_on_the_embedded_server_as_the_book_wants_it() -> None:
    assert setting("server_version_num").startswith(postgres.VERSION)
    assert setting("jit") == "off"
    assert float(setting("random_page_cost")) == 1.1
    assert setting("listen_addresses") == ""
    assert setting("fsync") == "off"
    assert setting("swardline.allow_flush") == "on"


@pytest.mark.django_db
@pytest.mark.usefixtures("engine")
def test_text_is_ordered_by_code_point_of_utf_8() -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT datlocprovider, datlocale, pg_encoding_to_char(encoding) FROM pg_database "
            "WHERE datname = current_database()"
        )
        assert cursor.fetchone() == ("b", "C.UTF-8", "UTF8")


@pytest.mark.usefixtures("engine")
def test_only_the_owner_can_enter_the_folder_of_the_sockets() -> None:
    keeper.join("postgres", settings.SWARDLINE_DATA)
    sockets = Postgres().socket_path(settings.SWARDLINE_DATA).parent

    assert sockets.stat().st_mode & 0o777 == 0o700


def test_a_first_connection_lays_out_starts_and_leaves_nothing_running(tmp_path: Path) -> None:
    environment = {
        **{name: value for name, value in os.environ.items() if name != "DATABASE_URL"},
        "SWARDLINE_DATA": os.fspath(tmp_path),
        "DJANGO_SETTINGS_MODULE": "config.settings",
    }
    command = [sys.executable, "-c", ASK]

    first = subprocess.run(
        command, env=environment, cwd=keeper.PROJECT, capture_output=True, text=True, check=False
    )
    again = subprocess.run(
        command, env=environment, cwd=keeper.PROJECT, capture_output=True, text=True, check=False
    )

    # What the farm writes outlives a power cut: fsync is off in the tests' own server only.
    assert (first.stdout, first.stderr) == ("swardline on\n", "")
    assert (again.stdout, again.stderr) == ("swardline on\n", "")
    pid, _ = (tmp_path / "postgres.server").read_text().split()
    assert not psutil.pid_exists(int(pid))


def test_data_of_another_version_is_refused_and_left_alone(tmp_path: Path) -> None:
    data = tmp_path / "postgres"
    data.mkdir()
    (data / "PG_VERSION").write_text("17\n")

    with pytest.raises(EmbeddedError, match="was made by PostgreSQL 17, this Swardline brings 18"):
        keeper.join("postgres", tmp_path)

    keeper.leave("postgres", tmp_path)
    assert [path.name for path in data.iterdir()] == ["PG_VERSION"]


def test_half_a_layout_is_made_anew(tmp_path: Path) -> None:
    (tmp_path / "postgres.new" / "base").mkdir(parents=True)
    account = account_for(tmp_path)

    data = postgres.lay_out(tmp_path, account, postgres.programs_for(account))

    assert (data / "PG_VERSION").read_text().strip() == postgres.VERSION
    shutil.rmtree(data)


def test_where_the_wheel_has_no_server_the_switch_is_named(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(postgres, "package_folder", lambda name: None)

    with pytest.raises(EmbeddedError, match="Set DATABASE_URL to a PostgreSQL server"):
        postgres.programs()


def test_an_ordinary_user_starts_it_as_themselves(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1234)

    assert account_for(tmp_path) == Account()


def test_a_folder_somebody_else_could_enter_is_refused(tmp_path: Path) -> None:
    (tmp_path / "run").mkdir()
    (tmp_path / "run").chmod(0o777)

    with pytest.raises(EmbeddedError, match="nobody else can enter"):
        Account().own_folder(tmp_path / "run")


@pytest.fixture
def no_namespaces(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Path]:
    monkeypatch.setattr(account, "namespaces_allowed", lambda: False)
    place = account_for(tmp_path).place
    assert place is not None
    yield tmp_path
    shutil.rmtree(place, ignore_errors=True)


@as_root
def test_where_namespaces_are_forbidden_an_account_without_rights_runs_it(
    no_namespaces: Path,
) -> None:
    service = Postgres()
    log = no_namespaces / "log"
    with log.open("wb") as file:
        server = service.start(no_namespaces, {"fsync": "off"}, file)
    try:
        while not service.is_ready(no_namespaces):
            assert server.poll() is None, log.read_text()
        who = psutil.Process(server.pid).username()
        with psycopg.connect(
            host=os.fspath(service.socket_path(no_namespaces).parent),
            user=postgres.USER,
            dbname="postgres",
        ) as client:
            answer = client.execute("SELECT 6 * 7").fetchone()
    finally:
        server.send_signal(signal.SIGINT)
        server.wait(20)

    assert who == account.UNPRIVILEGED
    assert answer == (42,)


@as_root
def test_without_any_account_root_is_told_what_to_do(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(account, "namespaces_allowed", lambda: False)
    monkeypatch.setattr(account, "UNPRIVILEGED", "no-such-account")

    with pytest.raises(EmbeddedError, match="set DATABASE_URL"):
        account_for(tmp_path)
