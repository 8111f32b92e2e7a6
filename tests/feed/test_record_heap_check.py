"""Probe a heap: heat beats the clock, a cool heap may be extended once (T36)."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from feed.models import HeapCheck
from feed.services.heaps import EXTENDED_ALREADY, NO_RULE, WARM, record_heap_check
from tests.factories.feed import make_batch, make_discard, make_heap_check, make_window_rules
from tests.factories.herd import HOUR, NOON, make_stamp

pytestmark = pytest.mark.django_db


def probe(batch: Any, hours: float, **fields: Any) -> HeapCheck:
    values = {"heap": Decimal(27), "air": Decimal(26), **fields}
    stamp = make_stamp(at=NOON + timedelta(hours=hours))
    return record_heap_check(stamp=stamp, batch=batch, **values)


def refused(batch: Any, hours: float, **fields: Any) -> dict[str, list[str]]:
    before = HeapCheck.objects.count()
    with pytest.raises(ValidationError) as error:
        probe(batch, hours, **fields)
    assert HeapCheck.objects.count() == before
    return error.value.message_dict


def test_cool_reading_changes_nothing() -> None:
    batch = make_batch()
    deadline = batch.deadline
    probe(batch, 3)
    batch.refresh_from_db()
    assert (batch.deadline, batch.heated_at) == (deadline, None)


# T36: cut, 26 °C, dry; 7 h 10 min later the heap has 35 °C.
def test_hot_reading_makes_the_load_past_at_its_moment() -> None:
    batch = make_batch(air_temperature=Decimal(26))
    assert batch.deadline == NOON + 12 * HOUR
    check = probe(batch, 7, heap=Decimal(35))
    batch.refresh_from_db()
    assert batch.deadline == batch.heated_at == check.happened_at


def test_hot_reading_that_comes_late_acts_from_its_moment() -> None:
    batch = make_batch(kg=Decimal(900))
    make_discard(batch, kg=Decimal(900), happened_at=NOON + 9 * HOUR)
    probe(batch, 7, warm_to_hand=True)
    batch.refresh_from_db()
    assert batch.heated_at == NOON + 7 * HOUR


def test_cool_heap_extends_by_a_quarter() -> None:
    batch = make_batch()
    probe(batch, 11, extends=True, extension_reason="cold wind, thin layer")
    batch.refresh_from_db()
    assert batch.deadline == NOON + 15 * HOUR
    assert batch.first_at == NOON + 9 * HOUR


def test_second_extension_is_refused() -> None:
    batch = make_batch()
    probe(batch, 10, extends=True, extension_reason="cold wind")
    words = refused(batch, 11, extends=True, extension_reason="again")
    assert words == {"extends": [EXTENDED_ALREADY]}


@pytest.mark.parametrize("hours", [8.9, 12.1])
def test_extension_at_the_wrong_time_is_refused(hours: float) -> None:
    words = refused(make_batch(), hours, extends=True, extension_reason="cold wind")
    assert "from Tue 2 Jun, 21:00 to Wed 3 Jun, 00:00" in words["extends"][0]


def test_extension_without_a_reason_is_refused() -> None:
    assert "extension_reason" in refused(make_batch(), 11, extends=True, extension_reason=" ")


def test_warm_heap_does_not_extend() -> None:
    batch = make_batch()
    words = refused(batch, 11, extends=True, extension_reason="x", warm_to_hand=True)
    assert words == {"extends": [WARM]}
    make_heap_check(batch, happened_at=NOON + HOUR, heap=Decimal(40))
    assert refused(batch, 11, extends=True, extension_reason="x") == {"extends": [WARM]}


def test_extension_without_a_rule_is_refused() -> None:
    batch = make_batch(deadline=None)
    assert refused(batch, 11, extends=True, extension_reason="x") == {"extends": [NO_RULE]}


def test_before_the_cut_is_refused() -> None:
    assert "happened_at" in refused(make_batch(), -1)


def test_when_nothing_is_left_is_refused() -> None:
    batch = make_batch(kg=Decimal(900))
    make_discard(batch, kg=Decimal(900), happened_at=NOON + HOUR)
    assert "Nothing is left" in refused(batch, 2)["batch"][0]


@pytest.mark.parametrize(("name", "value"), [("heap", "95.1"), ("air", "-31"), ("heap", "-6")])
def test_temperatures_out_of_this_world_are_refused(name: str, value: str) -> None:
    make_window_rules()
    assert name in refused(make_batch(), 2, **{name: Decimal(value)})
