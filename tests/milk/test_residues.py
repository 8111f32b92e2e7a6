"""Residues written down: what is too much holds its lot, and lets go when it is struck."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from milk.answers import HELD, answers_about
from milk.models import Hold, MilkLot, Residue
from milk.reference import load_reference
from milk.services.residues import record_residue, strike_residue
from tests.factories.herd import make_user
from tests.factories.milk import EVENING, a_day, stamp_at

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture
def lot() -> MilkLot:
    load_reference(stamp_at(EVENING))
    return a_day(at=EVENING)


def found(lot: MilkLot, substance: str, written: str, hours: int = 1) -> Residue:
    stamp = stamp_at(EVENING + hours * HOUR)
    return record_residue(stamp=stamp, lot=lot, substance=substance, written=written, sample="S1")


def held(lot: MilkLot) -> list[str]:
    answer = answers_about([lot], EVENING + 5 * HOUR)[lot.pk]
    assert (answer.word == HELD) == bool(answer.held)
    return [one.hold.words for one in answer.held]


def test_in_order_holds_nothing(lot: MilkLot) -> None:
    found(lot, "cloxacillin", "12,5")
    assert found(lot, "Tylosin", "<10").value is None
    assert held(lot) == []


def test_too_much_holds_the_lot_and_striking_it_lets_go(lot: MilkLot) -> None:
    wrong = found(lot, "cloxacillin", "31")
    assert held(lot) == [
        f"residue in lot {lot}: cloxacillin 31 µg/kg, at most 30 µg/kg (EU 37/2010)"
    ]
    strike_residue(wrong, by=make_user(), reason="other", words="another sample")
    assert held(lot) == []


def test_the_sum_of_a_group_holds_once(lot: MilkLot) -> None:
    found(lot, "sulfadiazine", "60")
    assert held(lot) == []
    found(lot, "sulfadimidine", "50")
    found(lot, "sulfadoxine", "10")
    assert len(held(lot)) == 1
    assert Hold.objects.get().reason == Hold.Reason.LIMIT


@pytest.mark.parametrize("written", ["", "a little", "-1", ">100", "1000000", "12 ppm", "nan"])
def test_what_is_no_amount_is_refused(lot: MilkLot, written: str) -> None:
    with pytest.raises(ValidationError) as refused:
        found(lot, "cloxacillin", written)
    assert "written" in refused.value.message_dict
    assert not Residue.objects.exists()


def test_sample_before_its_lot_is_refused(lot: MilkLot) -> None:
    with pytest.raises(ValidationError, match="Expected a sample of milk that was there"):
        found(lot, "cloxacillin", "1", hours=-1)


def test_it_is_on_the_page_of_the_lot(lot: MilkLot, vet_client: Any) -> None:
    found(lot, "cloxacillin", "12,5")
    page = vet_client.get(lot.get_absolute_url()).content.decode()
    assert "Residues measured" in page
    assert "12,5" in page
