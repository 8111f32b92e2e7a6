"""The rows of a statement in a row are there before those of the statements after it."""

import logging

import psycopg
import pytest
from django.db import DataError, connection, transaction
from django.db.utils import ProgrammingError

from config.asking import ask, fetched, in_a_row, send
from herd.models import Animal

pytestmark = pytest.mark.django_db
SLOW = "SELECT pg_sleep(0.5)"
# Fails only when everything after it was sent long since.
FAILS = "SELECT 1 / length(pg_sleep(0.5)::text)"


def number(value: int) -> psycopg.Cursor[object]:
    return send("SELECT %(value)s::int4", {"value": value})


def test_what_was_sent_after_it_is_not_waited_for() -> None:
    with in_a_row():
        first, slow, last = number(1), send(SLOW, {}), number(3)
        assert fetched(first) == [(1,)]
        # The proof that psycopg still keeps its pipeline as ``config.arrivals`` reads it.
        assert slow.pgresult is None
        assert last.pgresult is None
        assert fetched(last) == [(3,)]
        assert slow.pgresult is not None
        assert len(fetched(slow)) == 1


def test_rows_that_came_in_between_stay_until_they_are_wanted() -> None:
    with in_a_row():
        first, second = number(1), number(2)
        assert Animal.objects.count() == 0
        assert ask("SELECT 3", {}) == [(3,)]
        assert (fetched(second), fetched(first)) == ([(2,)], [(1,)])


def test_many_rows_and_many_statements() -> None:
    series = "SELECT generate_series(1, %(last)s::int4)"
    with in_a_row():
        sent = [send(series, {"last": 400 * place}) for place in range(60)]
        for place in (59, 0, 30, *range(1, 30), *range(31, 59)):
            assert len(fetched(sent[place])) == 400 * place


def first_and_last(*, send_wrong: str, last: bool = True) -> None:
    """Three statements, the second of them wrong; the first is read, and perhaps the last."""
    with in_a_row():
        before, _, after = number(1), send(send_wrong, {}), number(3)
        assert fetched(before) == [(1,)]
        if last:
            fetched(after)


def test_the_error_is_that_of_the_statement_that_failed(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.WARNING)
    with pytest.raises(DataError, match="division by zero"), transaction.atomic():
        first_and_last(send_wrong=FAILS)
    assert ask("SELECT 4", {}) == [(4,)]
    # What was not carried out after it is not told of once more at the end of the row.
    assert not caplog.records


def test_what_failed_and_was_not_asked_for_is_told_at_the_end() -> None:
    with pytest.raises(ProgrammingError, match="no_such"), transaction.atomic():
        first_and_last(send_wrong="SELECT no_such", last=False)
    assert ask("SELECT 4", {}) == [(4,)]


@pytest.mark.django_db(transaction=True)
def test_without_a_transaction_too() -> None:
    with pytest.raises(DataError, match="division by zero"):
        first_and_last(send_wrong=FAILS)
    with in_a_row():
        assert [fetched(one) for one in (number(1), number(2))] == [[(1,)], [(2,)]]
    assert not connection.in_atomic_block
