"""The database itself refuses everything but striking once, on every table of entries."""

import pytest
from django.db import IntegrityError, connection, transaction

from config.kinds import all_kinds
from tests.factories.frame import make_any

KINDS = [pytest.param(kind, id=kind.slug) for kind in all_kinds()]
pytestmark = pytest.mark.django_db

STRIKE = "UPDATE {table} SET struck_at = now(), struck_by_id = %s, struck_reason = %s WHERE id = %s"


def run(sql, *values):
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, values)
        return cursor.rowcount


@pytest.mark.parametrize("kind", KINDS)
def test_the_table_only_lets_an_entry_be_struck_once(kind, vet):
    entry = make_any(kind.model)
    table = kind.model._meta.db_table
    with pytest.raises(IntegrityError, match="never changed"):
        run(f"UPDATE {table} SET device = 'another' WHERE id = %s", entry.pk)
    with pytest.raises(IntegrityError, match="never changed"):
        run(
            f"UPDATE {table} SET happened_at = happened_at - interval '1 h' WHERE id = %s", entry.pk
        )
    with pytest.raises(IntegrityError, match="never deleted"):
        run(f"DELETE FROM {table} WHERE id = %s", entry.pk)
    strike = STRIKE.format(table=table)
    with pytest.raises(IntegrityError, match="struck_by_whom_and_why"):
        run(strike, vet.pk, "", entry.pk)
    assert run(strike, vet.pk, "twice", entry.pk) == 1
    with pytest.raises(IntegrityError, match="never changed"):
        run(strike, vet.pk, "time", entry.pk)
    with pytest.raises(IntegrityError, match="never changed"):
        run(
            f"UPDATE {table} SET struck_at = NULL, struck_by_id = NULL, struck_reason = '' "
            "WHERE id = %s",
            entry.pk,
        )
    entry.refresh_from_db()
    assert entry.struck_reason == "twice"


@pytest.mark.parametrize("kind", KINDS)
def test_the_table_is_never_emptied(kind):
    with connection.cursor() as cursor:
        # The tests' own settings let their flush pass; here it is as it is in use.
        cursor.execute("SET LOCAL swardline.allow_flush = 'off'")
    with pytest.raises(IntegrityError, match="never emptied"):
        run(f"TRUNCATE {kind.model._meta.db_table} CASCADE")


def test_a_corrected_row_needs_its_old_wording_kept(vet):
    parents = [kind for kind in all_kinds() if kind.corrects]
    assert parents
    for kind in parents:
        entry = make_any(kind.model)
        with pytest.raises(IntegrityError, match="never changed"):
            run(
                f"UPDATE {kind.model._meta.db_table} SET device = 'x', replaces_id = id "
                "WHERE id = %s",
                entry.pk,
            )
