"""Strike what happened to a load: the load is then what it would have been without it."""

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from config.errors import Conflict
from feed.services.discards import strike_discard
from feed.services.feedings import strike_feeding
from feed.services.fields import strike_work
from feed.services.heaps import strike_heap_check
from tests.factories.feed import (
    make_batch,
    make_discard,
    make_feeding,
    make_field,
    make_heap_check,
    make_work,
)
from tests.factories.herd import HOUR, NOON, make_user

pytestmark = pytest.mark.django_db


def why() -> dict[str, Any]:
    return {"by": make_user(), "reason": "quantity"}


def test_struck_feeding_leaves_its_kilos_in_the_load() -> None:
    batch = make_batch(kg=Decimal(1000))
    feeding = make_feeding(batch, happened_at=NOON + HOUR)
    batch.refresh_from_db()
    assert batch.done_at == NOON + HOUR
    assert strike_feeding(feeding, **why()).is_struck
    batch.refresh_from_db()
    assert batch.done_at is None


def test_struck_discard_opens_the_load_again() -> None:
    batch = make_batch(kg=Decimal(1000))
    make_feeding(batch, kg=Decimal(500))
    discard = make_discard(batch, kg=Decimal(500))
    strike_discard(discard, **why())
    batch.refresh_from_db()
    assert batch.done_at is None


def test_struck_probe_gives_the_clock_back() -> None:
    batch = make_batch()
    check = make_heap_check(batch, happened_at=NOON + HOUR, heap=Decimal(50))
    batch.refresh_from_db()
    assert batch.deadline == NOON + HOUR
    strike_heap_check(check, **why())
    batch.refresh_from_db()
    assert (batch.deadline, batch.heated_at) == (NOON + 12 * HOUR, None)


def test_struck_work_frees_the_field() -> None:
    field = make_field()
    work = make_work(field)
    strike_work(work, **why())
    on = NOON.date()
    assert type(field).objects.with_free_on(NOON + HOUR, on).get().free_on is None


def test_second_strike_is_refused() -> None:
    feeding = make_feeding()
    strike_feeding(feeding, **why())
    with pytest.raises(Conflict, match="was struck already"):
        strike_feeding(feeding, **why())


def test_strike_without_a_known_reason_is_refused() -> None:
    feeding = make_feeding()
    with pytest.raises(ValidationError, match="is no reason"):
        strike_feeding(feeding, by=make_user(), reason="because")
    feeding.refresh_from_db()
    assert not feeding.is_struck
