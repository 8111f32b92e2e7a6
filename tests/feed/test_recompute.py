"""What is derived of loads is the same however it was computed: step by step, or all at once."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from feed.models import ForageBatch, WindowRule
from feed.services.deadlines import DERIVED, recompute, recompute_all
from feed.services.rules import record_window_rule
from tests.factories.feed import (
    make_batch,
    make_discard,
    make_feeding,
    make_heap_check,
    make_window_rules,
)
from tests.factories.herd import DAY, HOUR, NOON, make_stamp, make_user

pytestmark = pytest.mark.django_db


def derived() -> list[tuple[Any, ...]]:
    return list(ForageBatch.objects.order_by("pk").values_list("pk", *DERIVED))


def an_estate() -> None:
    make_window_rules()
    hot, eaten = make_batch(), make_batch(happened_at=NOON - DAY, kg=Decimal(1500))
    make_batch(happened_at=NOON - HOUR, air_temperature=None, wet=True)
    make_batch(struck_at=NOON, struck_by=make_user(), struck_reason="twice")
    make_heap_check(hot, happened_at=NOON + 3 * HOUR, heap=Decimal(36))
    extended = make_batch()
    make_heap_check(extended, happened_at=NOON + 10 * HOUR, extends=True, extension_reason="cool")
    make_feeding(eaten, happened_at=NOON - DAY + HOUR)
    make_discard(eaten, happened_at=NOON - DAY + 2 * HOUR)
    record_window_rule(
        stamp=make_stamp(at=NOON + HOUR),
        from_temperature=Decimal(22),
        hours=Decimal(10),
        valid_from=NOON.date(),
        source="invented",
    )


def test_wiped_and_computed_again_is_the_same() -> None:
    an_estate()
    before = derived()
    assert len({row[2] for row in before}) > 3
    ForageBatch.objects.update(**dict.fromkeys(DERIVED))
    assert derived() != before
    assert recompute_all() == len(before)
    assert derived() == before


def test_a_second_time_changes_nothing() -> None:
    an_estate()
    assert recompute_all() == 0
    assert recompute([]) == 0


def test_number_of_statements_does_not_grow_with_the_loads(
    django_assert_num_queries: Any,
) -> None:
    make_window_rules()
    for hours in range(7):
        make_batch(happened_at=NOON - hours * HOUR)
    pks = list(ForageBatch.objects.values_list("pk", flat=True))
    ForageBatch.objects.update(deadline=None)
    # Savepoint and its release, loads, rules, probes, feedings, discards, one write.
    with django_assert_num_queries(10):
        assert recompute(pks) == 7


def test_rules_are_not_needed_to_know_that_nothing_is_left() -> None:
    batch = make_batch(deadline=None, kg=Decimal(1000))
    make_feeding(batch, happened_at=NOON + timedelta(minutes=20))
    batch.refresh_from_db()
    assert not WindowRule.objects.exists()
    assert (batch.deadline, batch.done_at) == (None, NOON + timedelta(minutes=20))
