"""Reads from a real streaming replica: never behind a person's own write, never what decides."""

import time
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.apps import apps
from django.conf import settings
from django.db import connection, connections
from django.http import Http404, HttpRequest, HttpResponse
from django.test import RequestFactory
from django.urls import get_resolver
from django.urls.resolvers import URLPattern
from django.utils import timezone

from config import replica
from config.embedded import postgres
from config.embedded.account import account_for
from config.embedded.service import socket_folder
from config.kinds import all_kinds
from config.models import LastWrite
from config.once_a_page import OncePerPage, once_a_page
from config.running import checks
from config.running.metrics import metrics
from herd.models import Heat
from tests.factories.frame import make_any
from tests.factories.herd import make_animal
from tests.servers import Server, wait_for

NOW = timezone.now()
SECOND = timedelta(seconds=1)
HEATS, HEATS_API = "/entries/heats/", "/api/heats/"

# ── Which server is fit to answer: pure ──


@pytest.mark.parametrize(
    ("follows", "written", "own", "replayed", "last", "fit"),
    [
        (True, 100, 0, 100, None, True),
        (True, 100, 100, 100, None, True),
        # Not yet where this person wrote, however fresh otherwise.
        (True, 100, 100, 99, NOW, False),
        # Behind the primary, and what was replayed last is five seconds old, or more.
        (True, 100, 50, 99, NOW - 5 * SECOND, True),
        (True, 100, 50, 99, NOW - 5.1 * SECOND, False),
        (True, 100, 50, 99, None, False),
        # Quiet for an hour, and level with it.
        (True, 100, 50, 100, NOW - timedelta(hours=1), True),
        # A server that was promoted, or never followed one.
        (False, 100, 0, 100, NOW, False),
        (True, 100, 0, None, None, False),
    ],
)
def test_which_replica_is_fit(follows, written, own, replayed, last, fit) -> None:
    assert replica.is_fresh(follows, NOW, written, own, replayed, last) is fit


# ── Which reads may, and which never ──

NEVER = (
    "withheld", "wall", "today", "home", "holds", "hold", "recalls", "recall", "trace", "animal",
    "trace-back", "pour", "vat-fill", "order", "order-pick", "shipment", "findings", "lot", "board",
    "medicine-book", "running", "wheel", "tanks", "quality", "fields", "tomorrow",
)  # fmt: skip


def patterns(resolver: Any) -> Iterator[URLPattern]:
    for one in resolver.url_patterns:
        if isinstance(one, URLPattern):
            yield one
        else:
            yield from patterns(one)


def test_no_page_that_decides_is_marked() -> None:
    named = {one.name: one.callback for one in patterns(get_resolver()) if one.name}
    marked = {name for name, view in named.items() if getattr(view, "may_lag", False)}
    assert {"kind-list", "grade-shares", "stock", "climate", "breeding"} <= marked
    assert set(NEVER) <= set(named)
    assert not marked.intersection(NEVER)


def test_what_is_never_late_are_tables_that_there_are() -> None:
    tables = {model._meta.db_table for model in apps.get_models()}
    assert tables >= replica.NEVER_LATE


PAGES = (
    "/entries/heats/", "/uploads/", "/feed/ration/week/", "/feed/ration/year/", "/herd/breeding/",
    "/milk/grades/", "/milk/store/stock/", "/milk/store/climate/",
)  # fmt: skip


@pytest.mark.django_db
@pytest.mark.parametrize("page", PAGES)
def test_a_marked_page_asks_for_nothing_that_is_never_late(page, vet_client) -> None:
    # Also what stands around the page: nothing but who asks is read before the view.
    make_animal()
    # (409: a rule of the estate is missing in an empty book.)
    with connection.execute_wrapper(replica.never_late):
        assert vet_client.get(page).status_code in (200, 409)


def test_a_statement_that_names_such_a_table_is_refused() -> None:
    def execute(*_: Any) -> str:
        return "carried out"

    for sql in ('SELECT 1 FROM "milk_hold" LIMIT 1', "UPDATE herd_dose SET kg = 1"):
        with pytest.raises(replica.NeverLate):
            replica.never_late(execute, sql, None, False, {})
    sql = "SELECT 1 FROM milk_holding_place, milk_wheelplace"
    assert replica.never_late(execute, sql, None, False, {}) == "carried out"


def heats_seen(api: Any) -> int:
    answer = api.get(HEATS_API)
    assert answer.status_code == 200
    return len(answer.json()["results"])


def write_heat(api: Any) -> str:
    body = {"animal": str(make_animal().uuid), "happened_at": "2026-06-02T12:00:00+02:00"}
    answer = api.post(HEATS_API, body)
    assert answer.status_code == 201, answer.content
    return str(answer.json()["id"])


def reading(user: Any, method: str = "get") -> HttpRequest:
    request: HttpRequest = getattr(RequestFactory(), method)("/")
    request.user = user
    return request


def test_without_a_replica_nothing_is_asked_for_it(
    db, vet_api, vet, django_assert_num_queries
) -> None:
    assert not replica.is_set()
    write_heat(vet_api)
    assert not LastWrite.objects.exists()

    @replica.may_lag
    def view(request: HttpRequest) -> None:
        return None

    with django_assert_num_queries(0):
        view(reading(vet))


# ── With a server that follows ──

FOLLOWING = pytest.mark.django_db(transaction=True, databases=["default", replica.ALIAS])


class Follower:
    """A standby of the tests' server, and what is done to it."""

    def __init__(self, server: Server) -> None:
        self.server = server

    def catch_up(self) -> None:
        with connection.cursor() as cursor:
            # A commit that is written out at once: the tests' server waits with that otherwise.
            cursor.execute("SET synchronous_commit = on")
            cursor.execute("SELECT pg_logical_emit_message(true, 'tests', 'here')")
            cursor.execute("RESET synchronous_commit")
            cursor.execute("SELECT pg_current_wal_flush_lsn() - '0/0'::pg_lsn")
            (goal,) = cursor.fetchone()
        replayed = f"SELECT pg_last_wal_replay_lsn() - '0/0'::pg_lsn >= {goal}"
        wait_for(lambda: self.server.ask(replayed) == [(True,)])

    def pause(self) -> None:
        self.catch_up()
        self.server.ask("SELECT pg_wal_replay_pause()")
        state = "SELECT pg_get_wal_replay_pause_state()"
        wait_for(lambda: self.server.ask(state) == [("paused",)])

    def go_on(self) -> None:
        if self.server.ask("SELECT pg_is_in_recovery()") == [(True,)]:
            self.server.ask("SELECT pg_wal_replay_resume()")


@pytest.fixture(scope="module")
def standby(
    django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Server]:
    if "embedded" not in settings.DATABASES["default"]["ENGINE"]:
        pytest.skip("the standby is made from the embedded server")
    place = tmp_path_factory.mktemp("standby")
    account = account_for(settings.SWARDLINE_DATA)
    if account.place is not None:
        pytest.skip("this system forbids user namespaces to root: run this as another user")
    with django_db_blocker.unblock():
        connection.ensure_connection()
        primary, user = connection.settings_dict["HOST"], connection.settings_dict["USER"]
    sockets = socket_folder(place, postgres.LONGEST_NAME)
    account.own_folder(sockets)
    server = Server(
        account,
        place / "data",
        sockets,
        user,
        unix_socket_directories=str(sockets),
        listen_addresses="",
        max_connections=postgres.SETTINGS["max_connections"],
        shared_buffers="32MB",
        fsync="off",
    )
    options = ("-h", primary, "-p", postgres.PORT, "-U", user, "--write-recovery-conf")
    server.program("pg_basebackup", "-D", server.data, *options, "--checkpoint=fast", "--no-sync")
    server.start()
    told = {
        "ENGINE": "django.db.backends.postgresql",
        "NAME": connection.settings_dict["NAME"],
        "USER": user,
        "HOST": str(sockets),
        "PORT": str(postgres.PORT),
        "OPTIONS": {"connect_timeout": 2},
        "CONN_HEALTH_CHECKS": True,
        # Nothing is flushed there after a test: it follows.
        "TEST": {"MIRROR": "default"},
    }
    both = connections.configure_settings({"default": {}, replica.ALIAS: told})
    connections.settings[replica.ALIAS] = both[replica.ALIAS]
    yield server
    server.stop()
    del connections[replica.ALIAS], connections.settings[replica.ALIAS]


@pytest.fixture
def follower(standby: Server, monkeypatch: Any) -> Iterator[Follower]:
    """The standby as the replica of the settings, level with the primary."""
    monkeypatch.setattr(replica, "_away_until", 0.0)
    monkeypatch.setattr(replica, "_decides", set())
    follower = Follower(standby)
    follower.catch_up()
    yield follower
    follower.go_on()
    connections[replica.ALIAS].close()


@FOLLOWING
def test_whoever_wrote_sees_it_at_once_and_others_when_it_is_replayed(
    follower, vet, vet_api, office_api, vet_client, office_client
) -> None:
    # What was refused moves nobody.
    assert vet_api.post(HEATS_API, {"animal": "nobody"}).status_code == 400
    assert replica.has_it(vet)
    follower.pause()
    number = write_heat(vet_api)
    assert heats_seen(vet_api) == 1
    assert not replica.has_it(vet)
    # Also on another device: it is the person's write, not the browser's.
    assert number in vet_client.get(HEATS).content.decode()
    assert vet_client.get(f"{HEATS}{number}/").status_code == 200
    # Somebody else is answered by the replica, which has not got there.
    assert heats_seen(office_api) == 0
    assert number not in office_client.get(HEATS).content.decode()
    # A link somebody was given leads to the entry all the same.
    assert office_client.get(f"{HEATS}{number}/").status_code == 200
    follower.go_on()
    follower.catch_up()
    assert heats_seen(office_api) == 1
    assert number in office_client.get(HEATS).content.decode()
    assert replica.has_it(vet)


@FOLLOWING
def test_a_replica_that_is_late_is_not_asked(follower, vet_api, office_api, settings) -> None:
    settings.REPLICA_SECONDS = 0
    follower.pause()
    write_heat(vet_api)
    # The primary's log is written out some time after the commit, in tests.
    wait_for(lambda: heats_seen(office_api) == 1)
    assert heats_seen(office_api) == 1


@FOLLOWING
def test_what_decides_is_read_from_the_primary_though_its_page_may_lag(
    follower, vet_client, office_client
) -> None:
    follower.pause()
    slugs = [kind.slug for kind in all_kinds() if kind.model._meta.db_table in replica.NEVER_LATE]
    assert {"holds", "recalls", "courses", "doses", "lot-tests"} <= set(slugs)
    entry = make_any(apps.get_model("milk", "Hold"))
    assert str(entry.uuid) in office_client.get("/entries/holds/").content.decode()
    assert office_client.get(f"/entries/holds/{entry.uuid}/").status_code == 200
    # Such a page is not tried on the replica again; those of other kinds are.
    assert {("kind-list", "holds"), ("kind-detail", "holds")} <= replica._decides
    assert ("kind-list", "heats") not in replica._decides


@FOLLOWING
def test_a_replica_that_is_away_costs_time_once(follower, standby, vet, office_api) -> None:
    follower.catch_up()
    (check,) = checks.follower()
    assert (check.says, check.act) == ("0 minutes behind.", "")
    assert "swardline_replica_seconds_behind 0" in metrics(timezone.now()).splitlines()
    # (The first request of a process loads the views.)
    assert heats_seen(office_api) == 0
    standby.stop()
    try:
        began = time.monotonic()
        assert heats_seen(office_api) == 0
        assert time.monotonic() - began < 5
        assert time.monotonic() < replica._away_until
        assert not replica.has_it(vet)
        (check,) = checks.follower()
        assert check.act
    finally:
        standby.start()


@FOLLOWING
def test_one_that_dies_under_a_read_is_read_over_on_the_primary(follower, standby, vet) -> None:
    asked: list[str] = []

    @replica.may_lag
    def view(request: HttpRequest) -> int:
        asked.append(connections["default"].alias)
        if connections["default"].alias == replica.ALIAS:
            end = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE pid = "
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_backend_pid()")
                standby.ask(f"{end}{cursor.fetchone()[0]}")
        return Heat.objects.count()

    # What is sent is never carried out there.
    assert view(reading(vet, "post")) == 0
    assert view(reading(vet)) == 0
    assert asked == ["default", replica.ALIAS, "default"]
    assert connections["default"].alias == "default"


@FOLLOWING
def test_plain_statements_go_to_the_same_server_and_nothing_kept_is_mixed(follower, vet) -> None:
    follower.pause()
    make_any(Heat)

    @once_a_page
    def heats() -> int:
        return Heat.objects.count()

    @replica.may_lag
    def view(request: HttpRequest) -> tuple[int, int]:
        with connection.cursor() as cursor:
            cursor.execute("SELECT count(*) FROM herd_heat")
            found = (cursor.fetchone()[0], heats())
        if found == (0, 0):
            raise Http404("as if something was looked for")
        return found

    def page(request: HttpRequest) -> HttpResponse:
        return HttpResponse(repr((view(request), heats())))

    assert OncePerPage(page)(reading(vet)).content == b"((1, 1), 1)"

    # A read that writes after all is carried out on the primary as well.
    @replica.may_lag
    def writing(request: HttpRequest) -> int:
        LastWrite.objects.update_or_create(person=vet, defaults={"position": 7})
        return LastWrite.objects.get().position

    assert writing(reading(vet)) == 7


@FOLLOWING
def test_a_server_that_was_promoted_is_not_followed_any_more(follower, standby, vet) -> None:
    # The last of this file: there is no way back for the standby.
    assert replica.has_it(vet)
    # A position ahead of the log was written on a server that was lost: it says nothing.
    LastWrite.objects.create(person=vet, position=2**60)
    follower.catch_up()
    assert replica.has_it(vet)
    standby.ask("SELECT pg_promote()")
    wait_for(lambda: standby.ask("SELECT pg_is_in_recovery()") == [(False,)])
    assert not replica.has_it(vet)
