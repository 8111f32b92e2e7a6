"""A connection that is lost in the middle of an entry: neither a refusal, nor a second entry."""

from importlib import import_module
from typing import Any
from uuid import uuid4

import psycopg
import pytest
from django.conf import settings
from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper
from django.utils import timezone

from config import errors
from config.entries import Entry
from feed.models import Field
from tests.cast import Api, Pages, text
from tests.drills.faults import address_of

pytestmark = pytest.mark.django_db(transaction=True)


def field() -> dict[str, Any]:
    return {"name": "Mill Field", "hectares": "3", "happened_at": timezone.now().isoformat()}


def hang_up() -> None:
    """End this connection from the other side, as a server that goes away does."""
    with psycopg.connect(address_of(connection.settings_dict), autocommit=True) as other:
        assert connection.connection is not None
        other.execute("SELECT pg_terminate_backend(%s)", [connection.connection.info.backend_pid])


def lose_at(step: str, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The connection is lost once, before a step of writing an entry."""
    lost: list[str] = []
    taken = getattr(Entry, step)

    def taken_without(self: Entry, *args: Any, **kwargs: Any) -> None:
        if not lost:
            lost.append(str(self))
            hang_up()
        taken(self, *args, **kwargs)

    monkeypatch.setattr(Entry, step, taken_without)
    return lost


@pytest.fixture(params=["clean_fields", "save"])
def lost_while_writing(request: Any, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The connection is lost once, while an entry is checked or put into its table."""
    return lose_at(request.param, monkeypatch)


@pytest.fixture
def lost_for_the_words(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The connection is lost once, when the table has refused and is asked why."""
    return lose_at("validate_constraints", monkeypatch)


@pytest.fixture
def lost_at_the_end(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The connection is lost once, after the database has written and before it could say so."""
    lost: list[str] = []
    commit = BaseDatabaseWrapper._commit

    def commit_unheard(self: BaseDatabaseWrapper) -> Any:
        commit(self)
        if not lost and Field.objects.exists():
            lost.append("unheard")
            with self.wrap_database_errors:
                raise psycopg.OperationalError("server closed the connection unexpectedly")

    monkeypatch.setattr(BaseDatabaseWrapper, "_commit", commit_unheard)
    return lost


@pytest.fixture
def lost_with_the_session(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The connection is lost once, when the entry is written and the session is not yet."""
    lost: list[str] = []
    store = import_module(settings.SESSION_ENGINE).SessionStore
    save = store.save

    def save_without(self: Any, must_create: bool = False) -> None:
        if not lost and Field.objects.exists():
            lost.append("session")
            hang_up()
        save(self, must_create=must_create)

    monkeypatch.setattr(store, "save", save_without)
    return lost


def test_a_session_that_could_not_be_written_says_nothing_of_the_entry(
    office_client: Pages, lost_with_the_session: list[str]
) -> None:
    once, fields = str(uuid4()), {**field(), "happened_at": "2026-06-02T12:00"}
    answer = office_client.send("/entries/fields/new/", once=once, **fields)
    assert lost_with_the_session
    assert answer.status_code == 503
    assert errors.DATABASE_AWAY in text(answer)
    assert Field.objects.count() == 1
    assert office_client.send("/entries/fields/new/", once=once, **fields).status_code == 302
    assert Field.objects.count() == 1


def test_a_connection_lost_while_writing_is_no_refusal(
    office_api: Api, lost_while_writing: list[str]
) -> None:
    key, body = str(uuid4()), field()
    answer = office_api.post("/api/fields/", body, key=key)
    assert (answer.status_code, answer.json()["detail"]) == (503, errors.DATABASE_AWAY)
    assert lost_while_writing
    assert office_api.post("/api/fields/", body, key=key).status_code == 201
    assert Field.objects.count() == 1


def test_a_connection_lost_while_asking_why_is_no_refusal(
    office_api: Api, lost_for_the_words: list[str]
) -> None:
    assert office_api.post("/api/fields/", field(), key=str(uuid4())).status_code == 201
    assert not lost_for_the_words
    key, body = str(uuid4()), field()
    answer = office_api.post("/api/fields/", body, key=key)
    assert (answer.status_code, answer.json()["detail"]) == (503, errors.DATABASE_AWAY)
    assert lost_for_the_words
    again = office_api.post("/api/fields/", body, key=key)
    assert again.status_code == 400
    errors_told = [(one["pointer"], one["detail"]) for one in again.json()["errors"]]
    assert errors_told == [("#/name", "There is a field with this name already.")]
    assert Field.objects.count() == 1


def test_a_form_says_so_too(office_client: Pages, lost_while_writing: list[str]) -> None:
    once, fields = str(uuid4()), {**field(), "happened_at": "2026-06-02T12:00"}
    answer = office_client.send("/entries/fields/new/", once=once, **fields)
    assert answer.status_code == 503
    assert errors.DATABASE_AWAY in text(answer)
    assert answer["Retry-After"] == "5"
    assert office_client.send("/entries/fields/new/", once=once, **fields).status_code == 302
    assert Field.objects.count() == 1


def test_an_entry_that_was_written_unheard_is_not_said_to_be_lost(
    office_api: Api, lost_at_the_end: list[str]
) -> None:
    key, body = str(uuid4()), field()
    answer = office_api.post("/api/fields/", body, key=key)
    assert (answer.status_code, answer.json()["detail"]) == (503, errors.DATABASE_AWAY)
    assert Field.objects.count() == 1
    again = office_api.post("/api/fields/", body, key=key)
    assert again.status_code == 201
    assert again["Idempotency-Replayed"] == "true"
    assert Field.objects.count() == 1
    assert lost_at_the_end
