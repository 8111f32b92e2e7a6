"""Who may what, over every address there is: without a name, without a role, and as each role.

The addresses come from the resolver, so a new one is tested by being there. What is open to
strangers or to everybody with a name is listed here with its reason, and nothing else is.
"""

import re
from collections.abc import Iterator
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import URLPattern, URLResolver, get_resolver

from config.kinds import all_kinds
from config.roles import ACTIONS, INSPECTOR, LABORATORY, ROLES
from tests.cast import Api, text, user_in

WRITES = ("post", "put", "patch", "delete")
METHODS = ("get", *WRITES)
# What stands for a thing in an address. None of it exists: who may not must not learn that.
STANDS_FOR = {
    "int": "987654321",
    "slug": "doses",
    "str": "x",
    "path": "x",
    "uuid": "00000000-0000-4000-8000-000000000000",
}
# Open to anybody, and why.
STRANGERS = {
    "/health": "probes have no name; nothing secret is in it",
    "/ready": "probes have no name; nothing secret is in it",
    "/metrics": "for the token or this machine (tests/config/test_running.py)",
    "/login/": "to sign in",
    "/logout/": "whoever is signed out already stays so",
    "/language/": "whoever signs in reads the form first",
    "/sw.js": "a browser asks for it without a name; it holds addresses, no data",
    "/phone/": "what a phone asks about itself; a stranger is told of no papers",
    "/queue/": "what this phone itself has kept, also when its session has ended",
    "/herd/wall/hung/": "a secret link of one wall; a wrong one finds nothing",
    "/phones/bind/": "a secret link for one phone; a wrong one finds nothing",
    "/api/tokens/": "where a program signs in",
    "/01/": "what the codes on labels lead to; tests/milk has what it tells and keeps",
}
# Open to whoever has a name, also without a role or with one that reads nothing.
NAMED = {
    "/api/schema/": "what may be asked at all, with no data",
    "/account/": "one's own password, sessions and tokens (tests/config/test_account.py)",
}
# A page that is read by POST as well answers as to GET (also that there is nothing to show, or
# where it stands now); what counts is that nothing is written.
READ = (200, 302, 409)
# Also the number of a form that was sent, whatever became of it.
KEPT_FOR_READERS = {"config_session", "config_once"}
WRITTEN = re.compile(r'^(?:INSERT INTO|UPDATE|DELETE FROM) "(\w+)"')

pytestmark = pytest.mark.django_db


def addresses(patterns: Any = None, above: str = "") -> Iterator[str]:
    """Every address, with something that does not exist where it names a thing."""
    for entry in get_resolver().url_patterns if patterns is None else patterns:
        path = above + filled(entry)
        if isinstance(entry, URLResolver):
            yield from addresses(entry.url_patterns, path)
        elif isinstance(entry, URLPattern):
            yield path


def filled(entry: Any) -> str:
    """An entry's own part of the address."""
    route = str(entry.pattern)
    for name, converter in entry.pattern.converters.items():
        kind = type(converter).__name__.removesuffix("Converter").lower()
        told = STANDS_FOR.get({"string": "str"}.get(kind, kind), "x")
        for written in (f"<{kind}:{name}>", f"<str:{name}>", f"<{name}>"):
            route = route.replace(written, told)
    return route


PATHS = sorted({f"/{path}" for path in addresses()})


def paths_for(method: str, *known: dict[str, str]) -> list[str]:
    """The addresses to ask, but for the open ones; pages know no other methods than these two."""
    return [
        path
        for path in PATHS
        if not is_open(path, *known) and (method in ("get", "post") or path.startswith("/api/"))
    ]


def is_open(path: str, *lists: dict[str, str]) -> bool:
    return any(path.startswith(start) for known in lists for start in known)


def asked(client: Client, method: str, path: str) -> Any:
    headers = {"Idempotency-Key": str(uuid4())}
    if method == "get":
        return client.get(path)
    if path.startswith("/api/"):
        return getattr(client, method)(path, "{}", "application/json", headers=headers)
    if method == "post":
        return client.post(path, {"once": str(uuid4())})
    return getattr(client, method)(path)


def test_the_walk_fills_every_address() -> None:
    assert len(PATHS) > 300
    assert not [path for path in PATHS if "<" in path or "(?P" in path]


@pytest.mark.parametrize("method", METHODS)
def test_a_stranger_is_asked_to_sign_in_and_learns_nothing(method: str) -> None:
    client = Client()
    wrong = []
    for path in paths_for(method, STRANGERS):
        answer = asked(client, method, path)
        led_to_login = answer.status_code == 302 and answer["Location"].startswith("/login/")
        if not led_to_login and answer.status_code not in (401, 405):
            wrong.append((path, answer.status_code))
    assert not wrong, "\n".join(map(str, wrong))


@pytest.mark.parametrize("method", ["get", "post", "delete"])
def test_somebody_without_a_role_gets_nowhere(method: str) -> None:
    client = Client()
    client.force_login(user_in(None))
    wrong = []
    for path in paths_for(method, STRANGERS, NAMED):
        answer = asked(client, method, path)
        if answer.status_code not in (403, 405):
            wrong.append((path, answer.status_code))
    assert not wrong, "\n".join(map(str, wrong))


@pytest.mark.parametrize("method", ["post", "delete"])
def test_the_inspector_writes_nothing(method: str) -> None:
    client = Client()
    client.force_login(user_in(INSPECTOR))
    wrong = []
    with CaptureQueriesContext(connection) as statements:
        for path in paths_for(method, STRANGERS, NAMED):
            answer = asked(client, method, path)
            refused = answer.status_code in (403, 404, 405)
            read_only = answer.status_code in READ and not path.startswith("/api/")
            if not refused and not read_only:
                wrong.append((path, answer.status_code))
    found = {WRITTEN.match(query["sql"]) for query in statements.captured_queries}
    assert {match[1] for match in found if match} <= KEPT_FOR_READERS
    assert not wrong, "\n".join(map(str, wrong))


def test_a_laboratory_reads_nothing_of_the_book() -> None:
    client = Client()
    client.force_login(user_in(LABORATORY))
    wrong = []
    for path in paths_for("get", STRANGERS, NAMED):
        answer = asked(client, "get", path)
        if answer.status_code not in (403, 405):
            wrong.append((path, answer.status_code))
    assert not wrong, "\n".join(map(str, wrong))


@pytest.mark.parametrize("role", ROLES)
def test_each_role_writes_the_kinds_of_its_row_and_no_other(role: str) -> None:
    user = user_in(role)
    api, pages = Api(user), Client()
    pages.force_login(user)
    wrong = []
    for kind in all_kinds():
        may = role in ACTIONS[f"write:{kind.slug}"]
        answers = {
            "api": api.post(f"/api/{kind.slug}/", {"surely": "wrong"}).status_code != 403,
            "form": pages.post(f"/entries/{kind.slug}/new/", {"once": uuid4()}).status_code != 403,
        }
        wrong += [(kind.slug, way, let_in) for way, let_in in answers.items() if let_in != may]
    assert not wrong, "\n".join(map(str, wrong))


def test_the_page_says_what_the_data_says(inspector_client: Any) -> None:
    page = inspector_client.get("/roles/")
    rows = page.context["rows"]

    assert len(rows) == len(ACTIONS)
    for (_, marks), allowed in zip(rows, ACTIONS.values(), strict=True):
        assert marks == [role in allowed for role in ROLES]
    assert "look after the service" in text(page)
