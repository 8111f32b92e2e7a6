"""Rows of wheels into and out of the brine."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction

from config.entries import strike
from config.errors import Conflict
from milk.brine_board import board
from milk.models import BrineOut, BrineRow, BrineStay, MilkFigure, WheelPlace
from milk.places import where_is
from milk.services.brine import record_brine_out, row_in, row_out
from milk.services.wheel_places import strike_step
from tests.cast import Api, Pages, user_in
from tests.factories import milk
from tests.factories.herd import make_user

pytestmark = pytest.mark.django_db
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
IN_AT = milk.EVENING + 2 * DAY


@pytest.fixture
def wheels():
    vat = milk.make_vat()
    return [milk.make_wheel(vat=vat), milk.make_wheel(vat=vat)]


def put_in(wheels, at=IN_AT, bath="1", row="4"):
    return row_in(stamp=milk.stamp_at(at), bath=bath, row=row, wheels=wheels)


def take_out(at, bath="1", row="4"):
    return row_out(stamp=milk.stamp_at(at), bath=bath, row=row)


def figure(what, value):
    return milk.plain(
        MilkFigure, milk.EVENING - 100 * DAY, None,
        what=what, value=Decimal(value), unit="d", valid_from="2020-01-01", source="a test",
    )  # fmt: skip


def test_a_row_goes_in_and_comes_out_in_one_act(wheels):
    put_in(wheels)
    assert {place.words for place in where_is([w.pk for w in wheels]).values()} == {
        "brine, bath 1, row 4"
    }
    outs = take_out(IN_AT + 20 * DAY)
    assert {out.wheel_id for out in outs} == {wheel.pk for wheel in wheels}
    assert {out.put_in_at for out in outs} == {IN_AT}
    assert set(WheelPlace.objects.values_list("what", flat=True)) == {"out"}
    with pytest.raises(Conflict, match="Bath 1, row 4 is empty by the book"):
        take_out(IN_AT + 21 * DAY)


def test_out_before_in_is_refused_by_the_service_and_by_the_database(wheels):
    stay, _ = put_in(wheels)
    for act in (
        lambda: take_out(IN_AT - HOUR),
        lambda: record_brine_out(stamp=milk.stamp_at(IN_AT - HOUR), wheel=wheels[0]),
    ):
        with pytest.raises(ValidationError, match="cannot have come out"):
            act()
    with pytest.raises(IntegrityError, match="milk_brineout_after_in"), transaction.atomic():
        milk.plain(BrineOut, IN_AT, None, wheel=wheels[0], stay=stay, put_in_at=IN_AT)
    assert not BrineOut.objects.exists()


def test_a_wheel_that_is_not_there_does_not_come_out(wheels):
    with pytest.raises(Conflict, match="was not in brine"):
        record_brine_out(stamp=milk.stamp_at(IN_AT), wheel=wheels[0])


def test_moved_to_another_row_its_days_go_on(wheels):
    put_in(wheels)
    put_in(wheels, IN_AT + 5 * DAY, bath="2", row="1")
    assert set(WheelPlace.objects.values_list("at", flat=True)) == {IN_AT}
    with pytest.raises(Conflict, match="empty"):
        take_out(IN_AT + 6 * DAY)
    assert {out.put_in_at for out in take_out(IN_AT + 20 * DAY, "2", "1")} == {IN_AT}


def test_a_row_written_out_late_takes_only_what_lay_there_then(wheels):
    put_in(wheels[:1])
    put_in(wheels[1:], IN_AT + 21 * DAY)
    (out,) = take_out(IN_AT + 20 * DAY)
    assert out.wheel == wheels[0]
    assert WheelPlace.objects.get(wheel=wheels[1]).what == "brine"


@pytest.mark.parametrize(
    ("bath", "row", "said"),
    [
        ("9", "1", "Bath 9 is not in the book. Baths with rows: 1."),
        ("1", "9", "Bath 1, row 9 is not in the book. Rows of bath 1: 4, 10."),
        ("1", "", "Bath 1 has rows: 4, 10. Write which one."),
    ],
)
def test_a_row_that_is_not_in_the_book_is_refused(wheels, bath, row, said):
    for name in ("10", "4"):
        milk.plain(BrineRow, milk.EVENING, None, bath="1", row=name, holds=2)
    with pytest.raises(ValidationError, match=said):
        put_in(wheels, bath=bath, row=row)
    assert not BrineStay.objects.exists()


def test_a_full_row_takes_no_more(wheels):
    milk.plain(BrineRow, milk.EVENING, None, bath="1", row="4", holds=2)
    put_in(wheels)
    with pytest.raises(Conflict, match="takes 2 wheels, and 2 lie in it"):
        put_in([milk.make_wheel()], IN_AT + HOUR)
    with pytest.raises(Conflict, match="lies in brine, bath 1, row 4 already"):
        put_in(wheels[:1], IN_AT + HOUR)


def test_from_the_store_a_wheel_does_not_go_back_into_brine(wheels):
    milk.put_in_store(wheels[0], at=IN_AT)
    with pytest.raises(Conflict, match="was laid in the store before that"):
        put_in(wheels, IN_AT + DAY)
    assert not BrineStay.objects.exists()


def test_striking_out_puts_it_back_in_brine(wheels):
    put_in(wheels)
    out = take_out(IN_AT + 20 * DAY)[0]
    strike_step(out, by=make_user("cheesemaker"), reason="animal")
    assert WheelPlace.objects.get(wheel=out.wheel_id).what == "brine"
    with pytest.raises(Conflict, match="1 brine out"):
        strike(BrineStay.objects.get(wheel=wheels[1]), by=make_user("cheesemaker"), reason="twice")


def test_the_board_says_what_goes_out_today(wheels):
    figure("brine days", 20)
    figure("brine over", 2)
    put_in(wheels)
    for days, word, form in [
        (19, "1 day left", "brine"),
        (20, "OUT TODAY", "first"),
        (21, "1 day OVER", "past"),
        (23, "3 days OVER", "past"),
    ]:
        (row,) = board(IN_AT + days * DAY + HOUR).rows
        assert (row.word, row.form) == (word, form)
        assert row.is_too_long == (days > 22)
    assert board(IN_AT + 20 * DAY).answer == ("1 row with 2 wheels comes out today: bath 1, row 4.")
    assert board(IN_AT + DAY).answer == "Nothing comes out of the brine today."


def test_the_board_reads_few_statements(wheels, django_assert_max_num_queries):
    put_in(wheels)
    with django_assert_max_num_queries(4):
        board(IN_AT + DAY)


def test_a_row_in_by_its_vats_on_the_page(wheels):
    pages = Pages()
    pages.force_login(user_in("store hand"))
    vat = wheels[0].vat
    form = {"bath": "1", "row": "4", "happened_at": "2026-06-11T15:00"}
    wrong = pages.send("/milk/brine/in/", **form, plates="999", day="", vats="")
    assert "Not in the book: 999" in wrong.content.decode()
    done = pages.send(
        "/milk/brine/in/", **form, plates="", day=vat.day.isoformat(), vats=str(vat.number)
    )
    assert done.status_code == 302, done.content.decode()
    page = pages.get("/milk/brine/").content.decode()
    assert "Bath 1, row 4" in page
    assert wheels[0].plate in page
    out = pages.send("/milk/brine/out/", bath="1", row="4", happened_at="2026-07-01T15:00")
    assert out.status_code == 302
    assert BrineOut.objects.count() == 2


@pytest.mark.parametrize("role", ["milker", "office", "inspector"])
def test_who_may_not_move_a_row(role):
    pages = Pages()
    pages.force_login(user_in(role))
    assert pages.send("/milk/brine/in/", bath="1").status_code == 403
    assert pages.send("/milk/brine/out/", bath="1").status_code == 403
    assert pages.get("/milk/brine/").status_code == 200


def test_rows_by_api(wheels):
    api = Api(user_in("store hand"))
    body = {"bath": "2", "row": "1", "wheels": [str(wheel.uuid) for wheel in wheels]}
    made = api.post("/api/brine/in/", {**body, "happened_at": IN_AT.isoformat()})
    assert made.status_code == 201, made.content
    now = api.get("/api/brine/").json()
    assert [(row["bath"], len(row["wheels"])) for row in now["rows"]] == [("2", 2)]
    early = {"bath": "2", "row": "1", "happened_at": (IN_AT - HOUR).isoformat()}
    assert api.post("/api/brine/out/", early).status_code == 400
    out = api.post("/api/brine/out/", {**early, "happened_at": (IN_AT + DAY).isoformat()})
    assert sorted(out.json()["wheels"]) == sorted(wheel.plate for wheel in wheels)


def test_the_rules_hold_in_the_tables_too(wheels):
    stay, _ = put_in(wheels)
    with connection.cursor() as cursor, pytest.raises(Exception, match="never changed"):
        cursor.execute("UPDATE milk_brinestay SET row = '9' WHERE id = %s", [stay.pk])
