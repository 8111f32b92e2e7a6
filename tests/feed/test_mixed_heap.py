"""Loads on one heap: the oldest counts for all, heat in any of it ends it, one extension for it."""

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from config.entries import Stamp
from config.errors import Conflict
from config.kinds import kind_named
from feed.models import ForageBatch, HeapCheck
from feed.services.batches import CARRIES, HEAP_GONE, ONTO_ITSELF, correct_batch, record_batch
from feed.services.heaps import EXTENDED_ALREADY, record_heap_check
from tests.cast import user_in
from tests.factories.feed import make_batch, make_discard, make_field, make_heap_check
from tests.factories.herd import HOUR, NOON

pytestmark = pytest.mark.django_db


def stamp(at: datetime = NOON + 4 * HOUR) -> Stamp:
    return Stamp.now(user_in("feed hand"), at)


def tipped(onto: ForageBatch, at: datetime = NOON + 4 * HOUR, **fields: Any) -> ForageBatch:
    values: dict[str, Any] = {"kg": Decimal(6000), "air_temperature": Decimal(24), **fields}
    return record_batch(stamp=stamp(at), field=make_field(), onto=onto, **values)


def test_the_oldest_part_counts_for_the_whole_heap() -> None:
    old = make_batch()
    new = tipped(old)
    old.refresh_from_db()
    assert old.deadline == NOON + 12 * HOUR
    assert (new.deadline, new.first_at) == (old.deadline, old.first_at)
    assert new.happened_at == NOON + 4 * HOUR


def test_a_third_load_lies_on_the_first() -> None:
    old = make_batch()
    third = tipped(tipped(old), NOON + 5 * HOUR)
    assert third.onto == old
    assert third.deadline == NOON + 12 * HOUR


def test_a_wet_newcomer_shortens_the_heap() -> None:
    old = make_batch(air_temperature=Decimal(10))
    new = tipped(old, NOON + HOUR, air_temperature=Decimal(30))
    old.refresh_from_db()
    assert old.deadline == new.deadline == NOON + 9 * HOUR


def test_heat_in_one_part_is_heat_in_all() -> None:
    old = make_batch()
    new = tipped(old)
    record_heap_check(stamp=stamp(NOON + 5 * HOUR), batch=new, heap=Decimal(36), air=Decimal(24))
    old.refresh_from_db()
    assert old.heated_at == old.deadline == NOON + 5 * HOUR


def test_a_heap_is_extended_once() -> None:
    old = make_batch()
    new = tipped(old)
    cool: dict[str, Any] = {"heap": Decimal(25), "air": Decimal(24), "extends": True}
    record_heap_check(
        stamp=stamp(NOON + 10 * HOUR), batch=old, extension_reason="cool, smells fresh", **cool
    )
    new.refresh_from_db()
    assert new.deadline == NOON + 15 * HOUR
    with pytest.raises(ValidationError, match=EXTENDED_ALREADY):
        record_heap_check(
            stamp=stamp(NOON + 11 * HOUR), batch=new, extension_reason="still cool", **cool
        )
    assert HeapCheck.objects.count() == 1


def test_taken_off_the_heap_again_each_has_its_own_window() -> None:
    old = make_batch()
    new = tipped(old, air_temperature=Decimal(30))
    values: dict[str, Any] = {"field": new.field, "kg": new.kg, "air_temperature": Decimal(24)}
    correct_batch(new, stamp=stamp(), reason="product", **values)
    new.refresh_from_db()
    old.refresh_from_db()
    assert new.deadline == NOON + 16 * HOUR
    assert old.deadline == NOON + 12 * HOUR


def test_not_onto_a_heap_that_is_gone() -> None:
    old = make_batch()
    make_discard(old, kg=Decimal(9000), happened_at=NOON + HOUR)
    old.refresh_from_db()
    with pytest.raises(ValidationError, match=HEAP_GONE.partition("{")[0]):
        tipped(old)
    assert ForageBatch.objects.count() == 1


def test_neither_onto_itself_nor_in_a_ring() -> None:
    old = make_batch()
    new = tipped(old)
    values: dict[str, Any] = {"field": old.field, "kg": old.kg, "onto": new}
    with pytest.raises(ValidationError, match=CARRIES.partition("}")[2].partition("{")[0]):
        correct_batch(old, stamp=stamp(NOON), reason="product", **values)
    alone = make_batch()
    values = {"field": alone.field, "kg": alone.kg, "onto": alone}
    with pytest.raises(ValidationError, match=ONTO_ITSELF):
        correct_batch(alone, stamp=stamp(NOON), reason="product", **values)


def test_a_load_under_another_is_not_struck() -> None:
    old = make_batch()
    tipped(old)
    from_page = {"by": user_in("vet"), "reason": "twice"}
    with pytest.raises(Conflict, match="cannot be struck"):
        strike(old, **from_page)


def strike(batch: ForageBatch, **why: Any) -> ForageBatch:
    from_kind = kind_named("forage-batches")
    struck = from_kind.strike(batch, **why)
    assert isinstance(struck, ForageBatch)
    return struck


def test_a_reading_without_a_mix_stays_with_its_load() -> None:
    one, other = make_batch(), make_batch(happened_at=NOON.astimezone(UTC))
    make_heap_check(one, heap=Decimal(40), happened_at=NOON + HOUR)
    other.refresh_from_db()
    assert other.heated_at is None
