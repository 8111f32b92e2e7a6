"""Moments read from the database fast are those that Django reads."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from django.db import connection
from django.db.backends.postgresql.psycopg_any import get_adapters_template
from hypothesis import given
from hypothesis import strategies as st
from psycopg import DataError
from psycopg.postgres import types
from psycopg.pq import Format

from config.reading_moments import TYPE, MomentLoader

OID = types[TYPE].oid
# Of what the server writes: with no, some or six figures behind the point.
WRITTEN = st.datetimes().map(lambda at: at.isoformat(" ").encode() + b"+00")
SHORT = st.builds(
    lambda at, part: f"{at.isoformat(' ', 'seconds')}.{part}+00".encode(),
    st.datetimes(),
    st.from_regex(r"\A[0-9]{0,5}[1-9]\Z"),
)


def djangos():
    """The loader that Django takes where nobody takes another."""
    return get_adapters_template(True, UTC).get_loader(OID, Format.TEXT)(OID)


@given(WRITTEN | SHORT)
def test_read_as_django_reads(text):
    moment = MomentLoader(OID).load(text)
    assert moment == djangos().load(text)
    assert moment.tzinfo is UTC


@given(st.datetimes().filter(lambda at: 1 < at.year < 9999), st.integers(-14 * 60, 14 * 60))
def test_of_another_zone_too(at, minutes):
    text = at.replace(tzinfo=timezone(timedelta(minutes=minutes))).isoformat(" ").encode()
    assert MomentLoader(OID).load(text) == djangos().load(text)


@pytest.mark.parametrize(
    "text", [b"infinity", b"0044-03-15 10:00:00+00 BC", b"12000-01-01 00:00:00+00"]
)
def test_what_python_cannot_hold_is_refused_alike(text):
    with pytest.raises(DataError) as ours:
        MomentLoader(OID).load(text)
    with pytest.raises(DataError) as djangos_own:
        djangos().load(text)
    assert str(ours.value) == str(djangos_own.value)


@pytest.mark.django_db
def test_the_connection_reads_so_and_the_server_writes_so():
    at = datetime(2026, 3, 29, 1, 30, 0, 120_000, tzinfo=UTC)
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT %s::timestamptz, tstzrange(%s, NULL), ARRAY[%s]::timestamptz[]", [at] * 3
        )
        one, span, several = cursor.fetchone()
    assert connection.connection.adapters.get_loader(OID, Format.TEXT) is MomentLoader
    assert (one, span.lower, several) == (at, at, [at])
    assert one.tzinfo is span.lower.tzinfo is several[0].tzinfo is UTC
