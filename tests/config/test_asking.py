"""Raw statements: the same answers and the same errors as through Django's own cursors."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import DatabaseError, OperationalError, connection, transaction
from django.test.utils import CaptureQueriesContext

from config.access.models import Session
from config.access.store import SessionStore, session
from config.asking import MANY, ahead, ask, copy_lines, fetched, in_a_row, send
from config.roles import READERS, people, person
from tests.cast import user_in
from tests.factories.herd import make_animal

pytestmark = pytest.mark.django_db
BOTH = "SELECT number FROM unnest(%(numbers)s::int4[]) AS number ORDER BY number"


@pytest.mark.parametrize("numbers", [[], [3], [3, 1, 2]])
def test_a_list_is_an_array(numbers: list[int]) -> None:
    assert ask(BOTH, {"numbers": numbers}) == [(one,) for one in sorted(numbers)]


def test_what_is_not_known_stays_unknown_in_an_array() -> None:
    rows = ask("SELECT unnest(%(weights)s::float8[])", {"weights": [1.5, None]})
    assert rows == [(1.5,), (None,)]


def test_moments_come_back_as_the_moments_they_were() -> None:
    at = datetime(2026, 3, 29, 1, 30, 0, 123, tzinfo=UTC)
    assert ask("SELECT unnest(%s::timestamptz[])", [[at]]) == [(at,)]


@pytest.mark.parametrize("texts", [['a "b", {c}', "NULL", "\\"]])
def test_texts_are_bound_as_they_are(texts: list[str]) -> None:
    assert ask("SELECT unnest(%s::text[])", [texts]) == [(one,) for one in texts]


def test_an_error_is_one_of_djangos() -> None:
    with pytest.raises(DatabaseError), transaction.atomic():
        ask("SELECT no_such_column", {})
    with pytest.raises(DatabaseError), transaction.atomic(), in_a_row():
        fetched(send("SELECT 1 / 0", {}))
    assert ask("SELECT 1", {}) == [(1,)]


@pytest.mark.django_db(transaction=True)
def test_a_lost_connection_is_an_error_of_djangos() -> None:
    ((number,),) = ask("SELECT pg_backend_pid()", {})
    other = connection.copy()
    try:
        with other.cursor() as cursor:
            cursor.execute("SELECT pg_terminate_backend(%s)", [number])
    finally:
        other.close()
    with pytest.raises(OperationalError):
        ask("SELECT 1", {})
    connection.close()


@pytest.mark.django_db(transaction=True)
def test_a_connection_opened_anew_is_asked_through_a_cursor_of_its_own() -> None:
    assert ask("SELECT 1", {}) == [(1,)]
    connection.close()
    assert ask("SELECT 2", {}) == [(2,)]


def test_an_answer_stays_what_it_was_when_the_next_is_asked() -> None:
    one = ask("SELECT generate_series(1, %(last)s::int4)", {"last": 3})
    assert ask("SELECT generate_series(1, %(last)s::int4)", {"last": MANY + 1})[-1] == (MANY + 1,)
    assert ask("SELECT 4", {}) == [(4,)]
    assert one == [(1,), (2,), (3,)]


def test_what_was_sent_ahead_answers_only_who_asks_the_same() -> None:
    double = "SELECT 2 * %(number)s::int4"
    with in_a_row():
        ahead(double, {"number": 1})
        assert ask(double, {"number": 2}) == [(4,)]
        ahead(double, {"number": 3})
        assert ask(double, {"number": 3}) == [(6,)]
    # Nothing is sent ahead where each statement is waited for.
    ahead("SELECT no_such_column", {})


def test_statements_in_a_row_answer_in_any_order() -> None:
    with in_a_row():
        one, two = (send("SELECT %(number)s::int4", {"number": number}) for number in (1, 2))
        assert ask("SELECT 3", {}) == [(3,)]
        assert fetched(two) == [(2,)]
        assert fetched(one) == [(1,)]


def test_who_counts_statements_counts_these() -> None:
    seen: list[Any] = []

    def watch(execute: Any, sql: Any, params: Any, many: bool, context: Any) -> Any:
        seen.append(sql)
        return execute(sql, params, many, context)

    with connection.execute_wrapper(watch), CaptureQueriesContext(connection) as asked:
        ask("SELECT %(number)s::int4", {"number": 7})
    assert seen == ["SELECT %(number)s::int4"]
    assert [one["sql"] for one in asked.captured_queries] == ["SELECT 7::int4"]


def columns_of(row: Any) -> dict[str, Any]:
    """What a row was read with, annotations too."""
    return {name: value for name, value in vars(row).items() if name != "_state"}


@pytest.mark.parametrize("role", [*READERS, None])
@pytest.mark.parametrize("begun", [False, True])
def test_who_is_signed_in_is_read_as_django_reads_it(role: str | None, begun: bool) -> None:
    if begun:
        make_animal(1042)
    user = user_in(role)
    user.groups.add(*user_in("milker").groups.all())
    found, reference = person.by(user.pk), people().get(pk=user.pk)
    assert found is not None
    # The order in which the database gathers the names is nobody's.
    for one in (found, reference):
        one.role_names = sorted(one.role_names)
    assert columns_of(found) == columns_of(reference)
    assert found.book_begun is begun
    found.first_name = "Ada"
    found.save()
    assert people().get(pk=user.pk).first_name == "Ada"


def test_nobody_is_found_under_a_number_nobody_has() -> None:
    assert person.by(2**31 - 1) is None


def test_a_session_is_read_until_its_last_moment_and_then_no_more() -> None:
    store = SessionStore()
    store["word"] = "sward"
    store.save()
    row = Session.objects.get(session_key=store.session_key)
    kept = session.by(row.session_key, row.expire_date - timedelta(seconds=1))
    assert kept is not None
    assert columns_of(kept) == columns_of(row)
    assert session.by(row.session_key, row.expire_date) is None
    assert session.by("another number", row.expire_date - timedelta(days=1)) is None
    assert SessionStore(store.session_key)["word"] == "sward"
    Session.objects.update(expire_date=datetime(2026, 1, 1, tzinfo=UTC))
    over = SessionStore(store.session_key)
    assert "word" not in over
    assert over.session_key is None


@pytest.fixture
def weighed() -> str:
    """The statement that copies into a table of weights, gone with the transaction of the test."""
    send("CREATE TEMPORARY TABLE weighed (grams int4 CHECK (grams > 0), cow int4)", {}).close()
    return "COPY weighed (grams, cow) FROM STDIN"


def test_lines_are_copied_as_they_stand(weighed: str) -> None:
    copy_lines(weighed, ["12500\t1\n", "\\N\t2\n"])
    assert ask("SELECT grams, cow FROM weighed ORDER BY cow", {}) == [(12_500, 1), (None, 2)]
    copy_lines(weighed, [])
    assert ask("SELECT count(*) FROM weighed", {}) == [(2,)]


def test_who_counts_statements_counts_a_copy(weighed: str) -> None:
    with CaptureQueriesContext(connection) as asked:
        copy_lines(weighed, ["1\t1\n"])
    assert [one["sql"] for one in asked.captured_queries] == [weighed]


@pytest.mark.parametrize("line", ["0\t1\n", "one\t1\n", "1\n"])
def test_of_a_wrong_line_nothing_is_copied(weighed: str, line: str) -> None:
    with pytest.raises(DatabaseError), transaction.atomic():
        copy_lines(weighed, ["1\t1\n", line])
    assert ask("SELECT count(*) FROM weighed", {}) == [(0,)]
