"""The herd loses an official freedom: its milk goes into no vat, and what was made is held."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import translation

from config.errors import Conflict
from milk import herd_status
from milk.answers import DO_NOT_POUR, POUR, answers_about
from milk.held import open_holds
from milk.models import Hold, VatFill
from milk.services.herd_status import record_herd_status, strike_herd_status
from tests.cast import user_in
from tests.factories import milk

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
MORNING = milk.EVENING + 12 * HOUR


@pytest.fixture
def tank():
    tank = milk.make_tank(name="B")
    milk.make_milking(tank=tank, at=milk.EVENING, kg=3000)
    return tank


def status(at, *, free=False, disease="tuberculosis"):
    return record_herd_status(
        stamp=milk.stamp_at(at, user_in("vet")), disease=disease, free=free, source="letter 7"
    )


def test_without_an_entry_nothing_is_refused_and_that_is_said(tank):
    milk.fill(milk.make_vat(at=MORNING), tank=tank, kg=100)
    assert herd_status.said(MORNING) == [
        "Nobody has written whether the herd is officially free of brucellosis.",
        "Nobody has written whether the herd is officially free of tuberculosis.",
    ]


def test_a_status_written_late_holds_what_was_made_since(tank):
    vat = milk.make_vat(at=MORNING)
    milk.fill(vat, tank=tank, kg=100)
    wheel = milk.make_wheel(vat=vat)
    status(milk.EVENING + HOUR)
    assert open_holds(wheel_ids=[wheel.pk])
    assert "not officially free of tuberculosis" in Hold.objects.open().get().words


def test_milk_before_the_status_is_left_alone():
    old = milk.make_tank(name="C")
    milk.make_milking(tank=old, at=milk.EVENING, kg=500)
    milk.wash(old, MORNING)
    status(MORNING + HOUR)
    assert not Hold.objects.exists()


def test_the_herds_milk_goes_into_no_vat_until_it_is_free_again(tank):
    lost = status(milk.EVENING - 48 * HOUR)
    # Milk that came after it was written is in no hold; the status alone refuses it.
    tank2 = milk.make_tank(name="D")
    milk.make_milking(tank=tank2, at=milk.EVENING, kg=900)
    later = milk.make_vat(at=lost.received_at)
    (lot,) = milk.lots_of(tank2)
    assert answers_about([lot], lost.received_at)[lot.pk].word == DO_NOT_POUR
    with pytest.raises(Conflict, match="not officially free of tuberculosis"):
        milk.fill(later, tank=tank2, kg=Decimal(50))
    assert not VatFill.objects.exists()
    status(lost.received_at - timedelta(seconds=1), free=True)
    assert answers_about([lot], lost.received_at)[lot.pk].word == POUR


def test_milk_of_a_supplier_is_his_to_prove():
    lost = status(milk.EVENING - 48 * HOUR)
    delivered = milk.make_delivery(at=milk.EVENING)
    (lot,) = milk.lots_of(delivered.tank)
    assert answers_about([lot], lost.received_at)[lot.pk].word == POUR
    milk.fill(milk.make_vat(at=lost.received_at), tank=delivered.tank, kg=100)
    assert VatFill.objects.exists()


def test_a_status_struck_lets_its_hold_go(tank):
    lost = status(milk.EVENING)
    assert Hold.objects.open().count() == 1
    strike_herd_status(lost, by=user_in("vet"), reason="other", words="of another herd")
    assert not Hold.objects.open().exists()


def test_a_hold_is_kept_in_the_estates_words_and_a_refusal_said_in_the_readers(tank, settings):
    settings.LANGUAGE_CODE = "de"
    milk.fill(milk.make_vat(at=MORNING), tank=tank, kg=100)
    with translation.override("en-gb"):
        lost = status(milk.EVENING + HOUR)
        assert "nicht amtlich frei von" in Hold.objects.open().get().words
        with pytest.raises(Conflict, match="may not be poured|not officially free"):
            milk.fill(milk.make_vat(at=lost.received_at), tank=tank, kg=Decimal(50))
    with (
        translation.override("de"),
        pytest.raises(Conflict, match="eingefüllt|nicht amtlich frei"),
    ):
        milk.fill(milk.make_vat(at=lost.received_at), tank=tank, kg=Decimal(50))
