"""Throw forage away, and what is refused."""

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from feed.models import Discard
from feed.services.discards import WITNESS_MISSING, record_discard
from tests.factories.feed import make_batch, make_feed_lot, make_feeding
from tests.factories.herd import HOUR, NOON, make_stamp

pytestmark = pytest.mark.django_db


def refused(**fields: Any) -> dict[str, list[str]]:
    values = {
        "stamp": make_stamp(at=NOON + HOUR),
        "kg": Decimal(900),
        "why": "past",
        "where_to": "manure heap",
        **fields,
    }
    with pytest.raises(ValidationError) as error:
        record_discard(**values)
    assert not Discard.objects.exists()
    return error.value.message_dict


def test_discard_of_the_rest_ends_the_load() -> None:
    batch = make_batch(kg=Decimal(9000))
    make_feeding(batch, kg=Decimal(6900))
    discard = record_discard(
        stamp=make_stamp(at=NOON + HOUR),
        batch=batch,
        kg=Decimal(2100),
        why="heated",
        where_to="field",
        witness="the milker",
    )
    assert discard.batch == batch
    batch.refresh_from_db()
    assert batch.done_at == NOON + HOUR
    assert batch.state(NOON + HOUR, discarded=True).value == "discarded"


def test_mouldy_hay_is_discarded_from_its_lot() -> None:
    lot = make_feed_lot()
    discard = record_discard(
        stamp=make_stamp(), feed_lot=lot, kg=Decimal(40), why="mouldy", where_to="digester"
    )
    assert discard.feed_lot == lot


def test_more_than_a_tonne_needs_a_witness() -> None:
    batch = make_batch()
    words = refused(batch=batch, kg=Decimal("1000.1"), witness=" ")
    assert words == {"witness": [WITNESS_MISSING.format(most="1,000")]}
    assert record_discard(
        stamp=make_stamp(at=NOON + HOUR),
        batch=batch,
        kg=Decimal(1000),
        why="past",
        where_to="manure heap",
    ).pk


# T36: dry cows are no place.
def test_animals_are_no_place() -> None:
    words = refused(batch=make_batch(), where_to="dry cows")
    assert "not a valid choice" in words["where_to"][0]
    assert "where_to" in refused(batch=make_batch(), where_to="")


def test_more_than_is_left_is_refused() -> None:
    assert "kg" in refused(batch=make_batch(kg=Decimal(600)), kg=Decimal(601))


def test_before_the_cut_is_refused() -> None:
    assert "happened_at" in refused(batch=make_batch(happened_at=NOON + 2 * HOUR))
