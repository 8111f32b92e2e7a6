"""Calvings and dry-offs decide when a cow's milk is fit: T7, T8, and what is not known."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from herd.models import WithdrawalPeriod
from herd.services.breeding import (
    record_calving,
    record_dry_off,
    strike_calving,
    strike_dry_off,
)
from herd.withheld import answer_for
from tests.factories.herd import (
    DAY,
    NOON,
    make_animal,
    make_calving,
    make_dry_off,
    make_stamp,
)
from tests.herd.arithmetic import at

TUBED = at("2026-03-01 18:00")


def calve(cow, when, **fields):
    """A calving through the service."""
    return record_calving(stamp=make_stamp(at=when), dam=cow, **fields)


@pytest.mark.parametrize(
    ("calved", "back"),
    [
        pytest.param("2026-05-01 02:00", "2026-05-05 04:30", id="T7: colostrum is the later"),
        pytest.param("2026-04-10 02:00", "2026-04-21 16:30", id="T8: ten days too early"),
    ],
)
def test_dry_cow_tube_and_calving(cow, dry_tube, calved, back):
    make_dry_off(cow, cover="tube", medicine=dry_tube, happened_at=TUBED)
    calve(cow, at(calved))
    assert answer_for(cow, at(calved)).back == at(back)


def test_dry_cow_is_out_until_she_calves(cow, dry_tube):
    record_dry_off(
        stamp=make_stamp(at=TUBED), animal=cow, cover="tube", medicine=dry_tube, batch="D1"
    )
    answer = answer_for(cow, TUBED + 200 * DAY)
    assert (answer.withheld, answer.until) == (True, None)
    assert "36 h after calving" in answer.why[0]


def test_seal_leaves_colostrum_only(cow):
    make_dry_off(cow, happened_at=TUBED)
    calve(cow, at("2026-04-10 02:00"))
    assert answer_for(cow, at("2026-04-10 02:00")).back == at("2026-04-14 04:30")


def test_abortion_counts_as_calving(cow, dry_tube):
    make_dry_off(cow, cover="tube", medicine=dry_tube, happened_at=TUBED)
    calve(cow, at("2026-04-10 02:00"), abortion=True, alive=0)
    assert answer_for(cow, at("2026-04-10 02:00")).back == at("2026-04-21 16:30")


def test_bought_cow_with_an_unknown_tube_is_out_until_the_vet_says(cow):
    dry_off = make_dry_off(cow, cover="unknown", happened_at=TUBED)
    calve(cow, at("2026-05-01 02:00"))
    assert answer_for(cow, NOON).until is None
    strike_dry_off(dry_off, by=dry_off.by, reason="other", words="found her papers: seal only")
    assert not answer_for(cow, NOON).withheld


def test_heifer_that_calves_has_colostrum_only(cow):
    calve(cow, at("2026-06-01 02:00"))
    assert WithdrawalPeriod.objects.get().kind == "colostrum"
    assert answer_for(cow, at("2026-06-05 04:30")).withheld is False


def test_struck_calving_makes_her_dry_again(cow, dry_tube):
    make_dry_off(cow, cover="tube", medicine=dry_tube, happened_at=TUBED)
    calving = make_calving(cow, happened_at=at("2026-04-10 02:00"))
    strike_calving(calving, by=calving.by, reason="animal")
    assert answer_for(cow, at("2026-05-10 02:00")).until is None


def test_late_calving_entry_does_not_touch_the_next_dry_period(cow, dry_tube):
    make_dry_off(cow, cover="tube", medicine=dry_tube, happened_at=TUBED)
    calve(cow, at("2025-05-01 02:00"))
    assert answer_for(cow, NOON).until is None


def test_bull_does_not_calve(rules):
    bull = make_animal(sex="M")
    with pytest.raises(ValidationError, match="is male") as error:
        calve(bull, NOON)
    assert list(error.value.message_dict) == ["dam"]


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        pytest.param({"calves": 1, "alive": 2}, "No more calves", id="more alive than born"),
        pytest.param({"ease": 7}, "Expected at most 4", id="ease"),
        pytest.param({"colostrum_l": Decimal(40)}, "Expected at most 8", id="litres"),
    ],
)
def test_wrong_calvings_are_refused(cow, fields, words):
    with pytest.raises(ValidationError, match=words):
        calve(cow, NOON, **fields)
    assert not WithdrawalPeriod.objects.exists()


def test_tube_needs_its_product(cow):
    with pytest.raises(ValidationError, match="needs the product"):
        record_dry_off(stamp=make_stamp(), animal=cow, cover="tube")


def test_seal_with_a_product_is_refused(cow, dry_tube):
    with pytest.raises(ValidationError, match="A product was named"):
        record_dry_off(stamp=make_stamp(), animal=cow, cover="seal", medicine=dry_tube)
