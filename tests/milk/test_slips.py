"""Slips of the pen in the dairy hall and the store: what was expected is said, nothing is saved."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from config import entries
from config.errors import Conflict
from milk.models import (
    Inspection,
    RennetBatch,
    RennetStep,
    Skimming,
    StarterCan,
    StorePlace,
    StoreStay,
    Vat,
    Wheel,
    WheelWeight,
)
from milk.scans import numbers
from milk.services import grading, plates, rennet, starter, store, vats, wheels
from tests.cast import text
from tests.factories import milk
from tests.milk.hall import HOUR, MORNING, D, rows, skim, tray

pytestmark = pytest.mark.django_db
__all__ = ["rows", "tray"]

DAY = timedelta(days=1)


# --- vats, cans and rennet ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "field", "words"),
    [
        ({"day": date(2026, 6, 1)}, "day", "no vat of 2026-06-01. Expected 2026-06-10"),
        ({"day": date(2126, 6, 10)}, "day", "no vat of 2126-06-10"),
        ({"protein": D("3.4"), "casein": D("3.5")}, "casein", "3.5 % of 3.4 % cannot be"),
        ({"rennet_g": D(-3)}, "rennet_g", "-3 is too little. Expected at least 0.1"),
        ({"rennet_g": D(30000)}, "rennet_g", "Expected at most 2000"),
        ({"starter_l": D(0)}, "starter_l", "0 is too little"),
    ],
)
def test_a_vat_with_a_slip(fields: dict[str, Any], field: str, words: str) -> None:
    body = {"day": date(2026, 6, 10), "number": 3, "round": 1, **fields}
    with pytest.raises(ValidationError) as refused:
        vats.record_vat(stamp=milk.stamp_at(MORNING), **body)
    assert words in " ".join(refused.value.message_dict[field])
    assert not Vat.objects.exists()


def test_a_vat_begun_late_in_the_evening_may_be_of_the_next_day() -> None:
    at = milk.EVENING + 5 * HOUR
    vats.record_vat(stamp=milk.stamp_at(at), day=date(2026, 6, 10), number=1, round=1)
    assert Vat.objects.count() == 1


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"litres": D(-1)}, "litres"),
        ({"litres": D(99999)}, "litres"),
        ({"litres": D(40), "temperature": D(500)}, "temperature"),
        ({"litres": D(40), "acidity": D(-1)}, "acidity"),
    ],
)
def test_a_can_with_a_slip(fields: dict[str, Any], field: str) -> None:
    vat = milk.make_vat(at=MORNING)
    with pytest.raises(ValidationError) as refused:
        starter.record_can(stamp=milk.stamp_at(MORNING + HOUR), can="2", from_vat=vat, **fields)
    assert field in refused.value.message_dict
    assert not StarterCan.objects.exists()


def test_rennet_with_a_slip() -> None:
    stamp = milk.stamp_at(MORNING)
    with pytest.raises(ValidationError, match="goes back"):
        rennet.record_batch(stamp=stamp, code="R1", g=D(500), best_before=date(2026, 6, 9))
    batch = rennet.record_batch(stamp=stamp, code="R1", g=D(500), best_before=date(2026, 6, 10))
    for at, what, g, words in (
        (MORNING - HOUR, "opened", None, "came in at"),
        (MORNING + HOUR, "thrown", D(501), "501 g is more than the 500 g"),
    ):
        with pytest.raises(ValidationError, match=words):
            rennet.record_step(stamp=milk.stamp_at(at), batch=batch, what=what, g=g)
    assert (RennetBatch.objects.count(), RennetStep.objects.count()) == (1, 0)


def test_a_look_at_a_tray_says_something(tray: Any) -> None:
    with pytest.raises(ValidationError, match="Write what was seen"):
        skim(tray, tray.happened_at + HOUR, smell="", set_aside=False)
    assert not Skimming.objects.exists()
    skim(tray, tray.happened_at + HOUR, fat=D(0))


# --- weights --------------------------------------------------------------------------------------


@pytest.mark.parametrize("kg", ["4710", "4.71", "0", "-47"])
def test_no_wheel_weighs_that(kg: str, rows: None) -> None:
    vat, wheel = milk.make_vat(at=MORNING), milk.make_wheel(kg=None)
    stamp = milk.stamp_at(wheel.happened_at + DAY)
    words = "no weight of a wheel. Expected at least 15 and at most 70 kg"
    with pytest.raises(ValidationError, match=words):
        plates.record_weight(stamp=stamp, wheel=wheel, kg=D(kg))
    with pytest.raises(ValidationError, match=words):
        grading.record_inspection(stamp=stamp, wheel=wheel, way="tap", grade="first", kg=D(kg))
    with pytest.raises(ValidationError, match=words):
        wheels.number_wheels(stamp=stamp, vat=vat, plates=[("77", "A", D(kg))])
    assert not WheelWeight.objects.exists()
    assert not Inspection.objects.exists()
    assert Wheel.objects.count() == 1


def test_a_wheel_only_loses(rows: None) -> None:
    wheel = milk.make_wheel(kg=None)
    at = wheel.happened_at + DAY
    plates.record_weight(stamp=milk.stamp_at(at), wheel=wheel, kg=D("44.6"))
    # Scales differ by a little.
    plates.record_weight(stamp=milk.stamp_at(at + DAY), wheel=wheel, kg=D("44.8"))
    with pytest.raises(ValidationError, match="6 % more, and a wheel only loses"):
        plates.record_weight(stamp=milk.stamp_at(at + 2 * DAY), wheel=wheel, kg=D("47.488"))
    assert WheelWeight.objects.count() == 2


def test_plates_by_the_million_are_a_slip() -> None:
    with pytest.raises(ValidationError, match="expected at most 1,000,000 in one delivery"):
        plates.record_receipt(stamp=milk.stamp_at(MORNING), first="0000001", last="9999999")


# --- the store ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("place", "words"),
    [
        (("a/b", 1, 1, 1), "has no “/”"),
        (("North", 0, 1, 1), "Expected at least 1"),
        (("North", 1, 1, 0), "Expected at least 1"),
    ],
)
def test_a_place_that_nobody_could_name(place: tuple[Any, ...], words: str) -> None:
    names = dict(zip(("room", "aisle", "column", "shelf"), place, strict=True))
    with pytest.raises(ValidationError, match=words):
        entries.record(StorePlace, stamp=milk.stamp_at(MORNING), **names)


@pytest.mark.parametrize(
    ("spans", "words"),
    [
        ((range(1, 1000), range(1, 1000), range(1, 1000)), "997,002,999 places in one act"),
        ((range(5, 2), range(1, 3), range(1, 3)), "last aisle comes before the first, 5"),
    ],
)
def test_a_room_of_a_thousand_million_places_is_counted_not_made(
    spans: tuple[range, range, range], words: str
) -> None:
    names = dict(zip(("aisles", "columns", "shelves"), spans, strict=True))
    with pytest.raises(ValidationError, match=words):
        store.make_room(stamp=milk.stamp_at(MORNING), room="Z", **names)
    assert not StorePlace.objects.exists()


def test_a_wheel_that_lies_there_already() -> None:
    wheel, place = milk.make_wheel(), milk.make_store_place()
    at = wheel.happened_at + 20 * DAY
    store.record_store_stay(stamp=milk.stamp_at(at), wheel=wheel, place=place)
    with pytest.raises(Conflict, match="already, since"):
        store.record_store_stay(stamp=milk.stamp_at(at + HOUR), wheel=wheel, place=place)
    assert StoreStay.objects.count() == 1


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("5-1", "“5-1” is the wrong way round. Expected 1-5."),
        ("1-99", "no number from 1 to 40"),
        ("0", "no number from 1 to 40"),
        ("six", "no number from 1 to 40"),
        ("1-2-3", "no number from 1 to 40"),
    ],
)
def test_numbers_of_vats(typed: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        numbers(typed, most=40)


def test_numbers_of_vats_with_blanks_about_the_stroke() -> None:
    assert numbers("1 - 3, 5 to 6 9", most=40) == [1, 2, 3, 5, 6, 9]


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("/milk/store/?least_age=9&most_age=3", "at least 9 and at most 3 months"),
        ("/milk/store/?aisle=2.5", "That is no whole number. Expected one such as 7."),
        ("/milk/store/?plate=12345678901234567", "17 letters are too many. Expected at most 16."),
        ("/milk/store/?plate=%00", "a character in it that no text has"),
    ],
)
def test_a_search_with_a_slip(address: str, words: str, cheesemaker_client: Any) -> None:
    assert words in text(cheesemaker_client.get(address))


@pytest.mark.parametrize(
    ("slug", "field", "typed", "words"),
    [
        ("vats", "number", "-1", "Expected at least 1."),
        ("vats", "fat", "123.4", "before the point: at most 2."),
        ("vats", "fat", "3.123", "after the point: at most 2."),
        ("vat-marks", "vat", "?!", "Expected day and number, such as 2026-06-09/17."),
        ("wheel-weights", "wheel", "?!", "Expected the number on its plate, such as 0004711."),
    ],
)
def test_a_form_says_what_was_expected(
    slug: str, field: str, typed: str, words: str, cheesemaker_client: Any
) -> None:
    form = cheesemaker_client.get(f"/entries/{slug}/new/").context["form"]
    with pytest.raises(ValidationError, match=words):
        form.fields[field].clean(typed)
