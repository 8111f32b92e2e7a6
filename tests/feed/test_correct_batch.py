"""Write a load again under its number: its old wording stays, what hangs on it stays."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from config.errors import Conflict
from feed.models import ForageBatch
from feed.services.batches import correct_batch, strike_batch
from tests.factories.feed import make_batch, make_feeding, make_field, make_heap_check, make_work
from tests.factories.herd import HOUR, NOON, make_stamp, make_user

pytestmark = pytest.mark.django_db


def correct(batch: ForageBatch, **fields: Any) -> ForageBatch:
    values = {
        "stamp": make_stamp(at=batch.happened_at),
        "reason": "quantity",
        "field": batch.field,
        "kg": batch.kg,
        "air_temperature": batch.air_temperature,
        **fields,
    }
    return correct_batch(batch, **values)


def test_load_keeps_its_number_and_the_old_wording_stays() -> None:
    batch = make_batch(kg=Decimal(9000), weighed=False)
    feeding = make_feeding(batch, kg=Decimal(6000))
    corrected = correct(batch, kg=Decimal(8200), weighed=True)
    assert (corrected.pk, corrected.uuid) == (batch.pk, batch.uuid)
    assert (corrected.kg, corrected.weighed) == (Decimal(8200), True)
    assert isinstance(corrected.replaces, ForageBatch)
    assert corrected.replaces.kg == Decimal(9000)
    assert corrected.replaces.struck_reason == "quantity"
    feeding.refresh_from_db()
    assert feeding.batch == corrected


def test_earlier_cut_moves_the_deadline() -> None:
    batch = make_batch()
    corrected = correct(batch, stamp=make_stamp(at=NOON - HOUR), reason="time")
    assert corrected.deadline == NOON + 11 * HOUR


def test_weight_down_to_what_was_fed_ends_the_load() -> None:
    batch = make_batch()
    make_feeding(batch, kg=Decimal(6000), happened_at=NOON + HOUR)
    assert correct(batch, kg=Decimal(6000)).done_at == NOON + HOUR


def test_weight_below_what_was_fed_is_refused() -> None:
    batch = make_batch()
    make_feeding(batch, kg=Decimal(6000))
    with pytest.raises(ValidationError, match="6,000 kg of load"):
        correct(batch, kg=Decimal(5999))
    assert ForageBatch.objects.count() == 1


@pytest.mark.parametrize("make", [make_feeding, make_heap_check])
def test_cut_after_something_of_it_happened_is_refused(make: Any) -> None:
    batch = make_batch()
    make(batch, happened_at=NOON + HOUR)
    with pytest.raises(ValidationError) as error:
        correct(batch, stamp=make_stamp(at=NOON + HOUR + timedelta(minutes=1)), reason="time")
    assert "happened_at" in error.value.message_dict


def test_onto_a_field_that_must_wait_is_refused() -> None:
    batch, field = make_batch(), make_field()
    make_work(field, happened_at=NOON - HOUR)
    with pytest.raises(ValidationError, match="is not free to cut before"):
        correct(batch, field=field, reason="other", words="wrong field")


def test_struck_load_is_not_corrected() -> None:
    batch = make_batch(struck_at=NOON, struck_by=make_user(), struck_reason="twice")
    with pytest.raises(Conflict, match="was struck already"):
        correct(batch)


def test_load_with_feedings_is_not_struck() -> None:
    batch = make_batch()
    make_feeding(batch)
    with pytest.raises(Conflict, match="1 feeding"):
        strike_batch(batch, by=make_user(), reason="twice")


def test_load_is_struck_once() -> None:
    batch = make_batch()
    assert strike_batch(batch, by=make_user(), reason="twice").is_struck
    with pytest.raises(Conflict):
        strike_batch(batch, by=make_user(), reason="twice")
