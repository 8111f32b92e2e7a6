"""Daily jobs of the hall: what is kept beside the entries, and what is to be ordered."""

from datetime import date
from typing import Any

import pytest

from config.models import JobRun, Notice
from milk.models import Tray, Vat, Wheel
from milk.rounds import rounds
from milk.services import plates, rennet, store
from milk.services.supply_notices import look_at_supplies
from milk.stock_paper import stock
from milk.tasks import keep_the_hall_again
from milk.tasks import look_at_supplies as job_of_supplies
from tests.cast import Api, text, user_in
from tests.factories import milk
from tests.milk.hall import HOUR, MORNING, D, mark, rows, skim, tray

pytestmark = pytest.mark.django_db
__all__ = ["rows", "tray"]


def test_what_is_kept_beside_vats_trays_and_wheels_is_made_again(tray: Tray, rows: None) -> None:
    vat, wheel = milk.make_vat(at=MORNING), milk.make_wheel(kg=None)
    mark(vat, "set", MORNING + HOUR)
    skim(tray, tray.happened_at + HOUR, cream_kg=D(20))
    day_after = wheel.happened_at + 24 * HOUR
    plates.record_weight(stamp=milk.stamp_at(day_after), wheel=wheel, kg=D(47))
    assert keep_the_hall_again() == {"vats": 0, "trays": 0, "wheels": 0}
    Vat.objects.filter(pk=vat.pk).update(set_at=None)
    Tray.objects.filter(pk=tray.pk).update(cream_kg=None)
    Wheel.objects.filter(pk=wheel.pk).update(kg=D(40))
    assert keep_the_hall_again() == {"vats": 1, "trays": 1, "wheels": 1}
    vat.refresh_from_db()
    tray.refresh_from_db()
    wheel.refresh_from_db()
    assert (vat.set_at, tray.cream_kg, wheel.kg) == (MORNING + HOUR, D(20), D(47))
    assert JobRun.objects.filter(name="milk.tasks.keep_the_hall_again", error="").count() == 2


def test_few_plates_ring_until_new_ones_came(rows: None) -> None:
    plates.record_receipt(stamp=milk.stamp_at(MORNING), first="0001", last="0650")
    assert look_at_supplies(at=MORNING)["plates"] == 1
    told = Notice.objects.filter(cause="plates-low", closed_at=None)
    assert {one.role for one in told} == {"cheesemaker", "office"}
    assert "650 plates left; order at 650. Next: 0001" in told[0].what
    plates.record_receipt(stamp=milk.stamp_at(MORNING), first="0651", last="0652")
    assert look_at_supplies(at=MORNING)["plates"] == 0
    assert not told.all().exists()


def test_rennet_past_its_date_rings_until_it_is_finished(rows: None) -> None:
    batch = rennet.record_batch(
        stamp=milk.stamp_at(MORNING), code="R1", g=D(500), best_before=date(2026, 6, 20)
    )
    at = MORNING + 20 * 24 * HOUR
    assert look_at_supplies(at=MORNING)["rennet"] == 0
    assert job_of_supplies(at=at.isoformat())["rennet"] == 1
    (told,) = Notice.objects.filter(cause__startswith="rennet-past:")
    assert told.what == "Rennet R1 was best before 2026-06-20, and 500 g are left by the book"
    rennet.record_step(stamp=milk.stamp_at(at), batch=batch, what="finished")
    assert look_at_supplies(at=at)["rennet"] == 0


def test_stock_says_what_wheels_lost_that_were_weighed_again(rows: None) -> None:
    for number, kg in enumerate((D("47.6"), D("47.0"), None)):
        wheel = milk.make_wheel(kg=None, plate=f"88{number}", vat=milk.make_vat(number=number + 1))
        at = wheel.happened_at
        if kg is not None:
            plates.record_weight(stamp=milk.stamp_at(at + 24 * HOUR), wheel=wheel, kg=kg)
        if number == 0:
            plates.record_weight(
                stamp=milk.stamp_at(at + 160 * 24 * HOUR), wheel=wheel, kg=D("40.2")
            )
        milk.put_in_store(
            wheel, at=at + 25 * 24 * HOUR, place=milk.make_store_place(shelf=number + 1)
        )
    (row,) = stock(at + 161 * 24 * HOUR)
    assert (row.wheels, row.again) == (3, 1)
    assert row.kg == pytest.approx(40.2 + 47.0)
    assert row.loss_words == "15.5 % of 1"


def test_shelves_are_cleaned_by_the_days_of_the_estate(rows: None, store_hand_client: Any) -> None:
    wheel, place = milk.make_wheel(), milk.make_store_place(room="North", aisle=2)
    laid = wheel.happened_at + 25 * 24 * HOUR
    milk.put_in_store(wheel, at=laid, place=place)
    assert not rounds(laid + 59 * 24 * HOUR).shelves
    (due,) = rounds(laid + 62 * 24 * HOUR).shelves
    assert (due.shelves_over, due.shelves_word) == (2, "not written yet")
    page = text(store_hand_client.get("/milk/rounds/"))
    assert "Shelves to clean" in page
    assert "not written yet" in page
    one = Api(user_in("store hand")).get("/api/rounds/").json()["aisles"][0]
    assert one["shelves_cleaned"] is None
    store.record_store_round(
        stamp=milk.stamp_at(laid + 62 * 24 * HOUR), room="North", aisle=2, what="shelves"
    )
    assert not rounds(laid + 63 * 24 * HOUR).shelves
    (again,) = rounds(laid + 125 * 24 * HOUR).shelves
    assert (again.shelves_word, again.shelves_form) == ("3 days OVER", "past")
    # Shelves cleaned are no wheels turned.
    assert rounds(laid + 63 * 24 * HOUR).aisles[0].last is None
