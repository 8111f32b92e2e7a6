"""The database refuses what no service may do, on every table of the feed."""

from typing import Any

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction

from config.entries import Entry
from feed.models import HeapCheck, Refusal
from tests.factories import feed as make
from tests.factories.herd import NOON, make_user

pytestmark = pytest.mark.django_db
MAKERS = (
    make.make_field,
    make.make_work,
    make.make_window_rule,
    make.make_share_rule,
    make.make_batch,
    make.make_heap_check,
    make.make_feeding,
    make.make_refusal,
    make.make_discard,
    make.make_feed_lot,
)
EACH = pytest.mark.parametrize("maker", MAKERS, ids=lambda maker: maker.__name__)


@EACH
def test_entry_is_not_changed(maker: Any) -> None:
    entry: Entry = maker()
    with pytest.raises(DatabaseError, match="struck and written again"), transaction.atomic():
        type(entry).objects.filter(pk=entry.pk).update(zone_offset=0)
    entry.refresh_from_db()
    assert entry.zone_offset == 120 or entry.happened_at < NOON


@EACH
def test_entry_is_not_deleted(maker: Any) -> None:
    entry: Entry = maker()
    table = type(entry)._meta.db_table
    with (
        pytest.raises(DatabaseError, match="never deleted"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(f"DELETE FROM {table} WHERE id = %s", [entry.pk])
    assert type(entry).objects.filter(pk=entry.pk).exists()


@EACH
def test_entry_is_struck_once(maker: Any) -> None:
    entry: Entry = maker()
    rows = type(entry).objects.filter(pk=entry.pk)
    strike = {"struck_by": make_user(), "struck_reason": "twice"}
    assert rows.update(struck_at=NOON, **strike) == 1
    with pytest.raises(DatabaseError, match="struck and written again"), transaction.atomic():
        rows.update(struck_at=None, struck_by=None, struck_reason="")
    entry.refresh_from_db()
    assert entry.is_struck


@pytest.mark.parametrize(
    ("maker", "values", "constraint"),
    [
        (make.make_batch, {"kg": 0}, "weighs_something"),
        (make.make_feeding, {"kg": 0}, "weighs_something"),
        (make.make_heap_check, {"extends": True}, "extension_needs_reason"),
        (make.make_share_rule, {"at_least": None}, "needs_a_bound"),
        (make.make_feed_lot, {"field": None}, "from_somewhere"),
        (make.make_field, {"name": "twice"}, "one_per_name"),
        (make.make_window_rule, {"from_temperature": 40}, "one_per_band"),
    ],
)
def test_constraint_refuses(maker: Any, values: dict[str, Any], constraint: str) -> None:
    if constraint.startswith("one_per"):
        maker(**values)
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        maker(**values)


def test_two_extensions_at_the_same_moment_are_refused() -> None:
    batch = make.make_batch()
    make.make_heap_check(batch, extends=True, extension_reason="cool")
    with pytest.raises(IntegrityError, match="extends_once"), transaction.atomic():
        make.make_heap_check(batch, extends=True, extension_reason="cool")
    assert HeapCheck.objects.count() == 1


def test_feeding_of_two_things_is_refused() -> None:
    batch, lot = make.make_batch(), make.make_feed_lot()
    for maker in (make.make_feeding, make.make_discard):
        with pytest.raises(IntegrityError, match="of_one_thing"), transaction.atomic():
            maker(batch, feed_lot=lot)
    assert not Refusal.objects.exists()
