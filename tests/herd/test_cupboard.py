"""The cupboard: what the shelf should hold, what is amiss, and what may not leave it."""

import csv
import io
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from config import entries
from herd.cupboard import cupboard
from herd.cupboard_paper import cupboard_paper
from herd.models import Dose, MedicineMove
from herd.reference import load_reference
from herd.services import stock
from tests.factories.herd import (
    DAY,
    HOUR,
    LONG_AGO,
    NOON,
    make,
    make_course,
    make_dose,
    make_dry_off,
    make_holding,
    make_medicine,
    make_stamp,
    make_user,
)

PAGE, API, MOVES = "/herd/cupboard/", "/api/cupboard/", "/api/medicine-moves/"
LATER = NOON + 20 * DAY


@pytest.fixture
def tubes(db):
    """Forty tubes of batch B-1 came long ago; they are good until the end of June 2027."""
    load_reference(make_stamp(at=LONG_AGO))
    medicine = make_medicine(name="Lanolactin", unit="tube")
    move(medicine, "received", 40, at=LONG_AGO, expires_on=date(2027, 6, 30))
    return medicine


def move(medicine, what, quantity, at=NOON, batch="B-1", **fields):
    return stock.record_move(
        stamp=make_stamp(at=at),
        medicine=medicine,
        what=what,
        quantity=Decimal(quantity),
        batch=batch,
        **{
            "supplier": make_holding() if what == "received" else None,
            "proof": "note 1" if what == "received" else "",
            **fields,
        },
    )


def give(medicine, quantity, at=NOON, batch="B-1", **fields):
    course = make_course(medicine=medicine, happened_at=at)
    return make_dose(course, at=at, quantity=Decimal(quantity), batch=batch, **fields)


def only(at=LATER):
    (batch,) = cupboard(at).batches
    return batch


def test_in_less_what_left_is_on_the_shelf(tubes):
    give(tubes, 3)
    give(tubes, 0, at=NOON + HOUR, skipped=True, why_skipped="left", batch="")
    make_dry_off(cover="tube", medicine=tubes, batch="b-1", at=NOON + 2 * HOUR)
    move(tubes, "broken", 2, NOON + 3 * HOUR)
    move(tubes, "returned", 5, NOON + 4 * HOUR)
    move(tubes, "destroyed", 1, NOON + 5 * HOUR)
    batch = only()
    assert batch.shelf.on_shelf == 40 - 3 - 4 - 2 - 5 - 1
    assert batch.shelf.total("dried off") == 4
    assert list(batch.amiss()) == []


def test_what_it_held_at_a_moment(tubes):
    give(tubes, 3)
    give(tubes, 2, at=NOON + DAY)
    assert only(NOON - HOUR).shelf.on_shelf == 40
    assert only(NOON).shelf.on_shelf == 37
    assert only(LATER).shelf.on_shelf == 35


def test_struck_entries_do_not_count(tubes):
    dose = give(tubes, 3)
    broken = move(tubes, "broken", 2)
    entries.strike(dose, by=make_user(), reason="product")
    entries.strike(broken, by=make_user(), reason="quantity")
    assert only().shelf.on_shelf == 40


def test_dose_of_a_struck_course_was_used_all_the_same(tubes):
    dose = give(tubes, 3)
    entries.strike(dose.course, by=make_user(), reason="animal", hanging_may_stay=True)
    assert only().shelf.on_shelf == 37


def test_count_says_how_much_more_or_less(tubes):
    give(tubes, 3)
    move(tubes, "counted", 36, NOON + HOUR)
    batch = only()
    assert (batch.shelf.on_shelf, batch.shelf.difference) == (36, -1)
    assert list(batch.amiss()) == ["the last count found 1 tube less than the book"]
    assert (
        "1 of 1 batches to look at"
        in cupboard_paper(cupboard(LATER), by=make_user(), at=NOON).answer
    )


def test_used_without_a_receipt_and_without_a_batch(tubes):
    give(tubes, 1, batch="X-9")
    give(tubes, 1, batch="")
    said = {batch.name: list(batch.amiss()) for batch in cupboard(LATER).amiss()}
    assert said == {
        "X-9": ["used without a receipt"],
        "": ["used without a batch written"],
    }


def test_dose_that_takes_a_batch_below_nothing_is_kept_and_said(tubes):
    give(tubes, 43)
    assert list(only().amiss()) == ["3 tube more used than came in"]
    assert Dose.objects.standing().count() == 1


def test_expired_on_the_shelf_and_used_after_it_expired(tubes):
    at = NOON + 400 * DAY
    move(tubes, "received", 5, at=LONG_AGO, batch="B-0", expires_on=date(2026, 6, 1))
    give(tubes, 1, at=NOON, batch="B-0")
    batch = next(one for one in cupboard(LATER).batches if one.name == "B-0")
    assert list(batch.amiss()) == ["expired 2026-06-01, 4 tube there", "used once after it expired"]
    item = cupboard(LATER).items[0]
    assert item.usable == 40
    assert cupboard(at).items[0].usable == 0


def test_expires_soon_by_the_rule(tubes):
    day = date(2027, 6, 30)
    for days, soon in ((61, False), (60, True), (0, True)):
        at = NOON.replace(year=day.year, month=day.month, day=day.day) - timedelta(days=days)
        assert only(at).expires_soon is soon


def test_what_runs_out_is_on_the_list(tubes):
    low = make_medicine(name="Lowlan", unit="ml")
    make_low = make(
        MedicineMove,
        medicine=low,
        what="received",
        quantity=5,
        batch="L",
        expires_on=date(2027, 1, 1),
        supplier=make_holding(),
        at=LONG_AGO,
    )
    assert cupboard(LATER).low() == []
    entries.correct(
        low,
        stamp=make_stamp(),
        reason="other",
        words="set a least",
        name=low.name,
        unit="ml",
        shelf_least=Decimal(6),
    )
    (item,) = cupboard(LATER).low()
    assert (item.medicine, item.usable) == (low, make_low.quantity)
    assert "1 medicine runs out" in cupboard_paper(cupboard(LATER), by=make_user(), at=NOON).answer


def test_off_leaflet_uses_of_the_year_are_listed(tubes):
    make_course(off_leaflet=True, own_milk_hours=144, grounds="no answer", medicine=tubes)
    make_course(off_leaflet=True, own_milk_hours=144, medicine=tubes, happened_at=LATER - 366 * DAY)
    assert [course.grounds for course in cupboard(LATER).off_leaflet] == ["no answer"]


@pytest.mark.parametrize("what", ["broken", "returned", "destroyed", "used"])
def test_more_than_there_is_cannot_leave(tubes, what):
    give(tubes, 30)
    with pytest.raises(ValidationError, match="held 10 tube of batch B-1") as refused:
        move(tubes, what, 11, NOON + HOUR)
    assert list(refused.value.message_dict) == ["quantity"]
    assert move(tubes, what, 10, NOON + HOUR).quantity == 10


def test_what_was_used_since_cannot_have_been_broken_before(tubes):
    give(tubes, 38, at=NOON + DAY)
    with pytest.raises(ValidationError, match="held 2 tube"):
        move(tubes, "broken", 3)


def test_from_a_batch_that_never_came_nothing_can_leave(tubes):
    with pytest.raises(ValidationError, match="held 0 tube of batch NEW"):
        move(tubes, "destroyed", 1, batch="NEW")


@pytest.mark.parametrize(
    ("fields", "field", "words"),
    [
        ({"what": "broken", "quantity": 0}, "quantity", "more than 0 tube"),
        ({"what": "broken", "quantity": 1, "batch": "  "}, "batch", "as it is printed"),
        (
            {"what": "received", "quantity": 1, "expires_on": date(2026, 6, 1)},
            "expires_on",
            "expired on 2026-06-01, before it came on 2026-06-02",
        ),
    ],
)
def test_what_cannot_have_been_so_is_refused_at_its_field(tubes, fields, field, words):
    with pytest.raises(ValidationError) as refused:
        move(tubes, **fields)
    assert words in refused.value.message_dict[field][0]


def test_a_count_may_be_nothing(tubes):
    assert move(tubes, "counted", 0).quantity == 0
    assert only().shelf.on_shelf == 0


def test_re_entering_a_breakage_does_not_count_it_twice(tubes, vet_api):
    broken = move(tubes, "broken", 30)
    body = {
        "happened_at": NOON.isoformat(),
        "medicine": str(tubes.uuid),
        "what": "broken",
        "quantity": "40",
        "batch": "B-1",
        "reason": "quantity",
    }
    answer = vet_api.post(f"{MOVES}{broken.uuid}/re-enter/", body)
    assert answer.status_code == 201, answer.json()
    assert only().shelf.on_shelf == 0


def test_refusal_by_api_and_page_is_at_the_field(tubes, vet_api, vet_client):
    body = {
        "happened_at": NOON.isoformat(),
        "medicine": str(tubes.uuid),
        "what": "broken",
        "quantity": "41",
        "batch": "B-1",
    }
    answer = vet_api.post(MOVES, body)
    (error,) = answer.json()["errors"]
    assert (answer.status_code, error["pointer"]) == (400, "#/quantity")
    assert "held 40 tube" in error["detail"]
    page = vet_client.send(
        "/entries/medicine-moves/new/",
        **{**body, "happened_at": "2026-06-02T12:00"},
    )
    assert "held 40 tube" in page.content.decode()
    assert MedicineMove.objects.count() == 1


def test_statements_do_not_grow_with_what_is_written(tubes):
    def statements() -> int:
        with CaptureQueriesContext(connection) as seen:
            list(cupboard(LATER).batches)
        return len(seen)

    few = statements()
    for number in range(8):
        medicine = make_medicine(unit="ml")
        make_dry_off(cover="tube", medicine=medicine, batch=f"D{number}")
        give(medicine, 1, batch=f"C{number}")
    assert statements() == few == 6


def test_page_file_and_api_say_the_same(tubes, inspector_client, inspector_api):
    give(tubes, 3)
    at = {"at": "2026-06-10T12:00:00+02:00"}
    page = inspector_client.get(PAGE, at)
    assert "Every batch is in order, nothing runs out" in page.content.decode()
    assert "Write a receipt" not in page.content.decode()
    text = inspector_client.get(PAGE, {**at, "as": "csv"}).content.decode("utf-8-sig")
    row = list(csv.reader(io.StringIO(text)))[2]
    assert row[:6] == ["Lanolactin", "B-1", "2027-06-30", "tube", "40", "3"]
    assert row[12] == "37"
    assert inspector_client.get(PAGE, {**at, "as": "pdf"}).content.startswith(b"%PDF")
    medicine = inspector_api.get(API, **at).json()["medicines"][0]
    assert medicine["usable"] == "37.00"
    assert medicine["batches"][0]["given"] == "3.00"


def test_vet_may_write_from_the_page(tubes, vet_client):
    assert "Write a receipt" in vet_client.get(PAGE).content.decode()


def test_the_future_is_refused(tubes, vet_client, vet_api):
    ahead = (timezone.now() + DAY).isoformat()
    assert vet_client.get(PAGE, {"at": ahead}).status_code == 400
    assert vet_api.get(API, at=ahead).status_code == 400
    assert vet_client.get(PAGE, {"at": "soon"}).status_code == 400


def test_who_may_not(tubes, client, nobody_client, nobody_api, milker_api):
    assert client.get(PAGE).status_code == 302
    assert nobody_client.get(PAGE).status_code == 403
    assert nobody_api.get(API).status_code == 403
    body = {
        "happened_at": NOON.isoformat(),
        "medicine": str(tubes.uuid),
        "what": "broken",
        "quantity": "1",
        "batch": "B-1",
    }
    assert milker_api.post(MOVES, body).status_code == 403
