"""Raw statements: the same answers and the same errors as through Django's own cursors."""

from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import DatabaseError, OperationalError, connection, transaction
from django.test.utils import CaptureQueriesContext

from config.asking import ask, fetched, in_a_row, send

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
