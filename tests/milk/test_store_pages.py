"""The store: counts, rounds, climate, search; their pages, API and notices."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from config.models import Notice
from milk.age import full_months
from milk.climate import rooms_now
from milk.models import (
    MilkFigure,
    RoomReading,
    StockCount,
    StoreFinding,
    StoreGap,
    StoreRound,
    WheelPlace,
)
from milk.reference import rows
from milk.rounds import rounds
from milk.services.counts import record_stock_count, strike_stock_count
from milk.services.store import make_room
from milk.services.store_notices import look_at_store
from milk.stock_paper import first_younger, stock
from milk.store_search import Wanted, search, youngest_of
from tests.cast import Api, Pages, user_in
from tests.factories import milk

pytestmark = pytest.mark.django_db
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
LAID_AT = milk.EVENING + 30 * DAY
# Well after the hour at which the day's lists are told.
NOW = LAID_AT + 3 * HOUR


OURS = ("brine", "round", "room")


@pytest.fixture
def figures():
    stamp = milk.stamp_at(milk.EVENING - 300 * DAY)
    kept = [row for row in rows("milk_figures.json") if row["what"].startswith(OURS)]
    MilkFigure.objects.bulk_create([MilkFigure(**stamp.columns(), **row) for row in kept])


@pytest.fixture
def laid():
    """Four places of an aisle, three wheels on the first of them."""
    places = make_room(
        stamp=milk.stamp_at(milk.EVENING - DAY),
        room="North",
        aisles=range(1, 2),
        columns=range(1, 3),
        shelves=range(1, 3),
    )
    wheels = [milk.make_wheel(plate=f"700{n}", vat=milk.make_vat()) for n in range(3)]
    for wheel, place in zip(wheels, places, strict=False):
        milk.put_in_store(wheel, at=LAID_AT, place=place)
    return wheels


def count(scanned, **fields):
    stamp = milk.stamp_at(LAID_AT + DAY)
    return record_stock_count(stamp=stamp, room="North", aisle=1, scanned=scanned, **fields)


def test_a_count_that_agrees_changes_nothing(laid):
    made = count("1/1 7000\n1/2 7001\n7002")
    assert (made.expected, made.found, made.differences) == (3, 3, [])
    assert set(WheelPlace.objects.values_list("what", flat=True)) == {"store"}


def test_a_count_moves_what_lies_elsewhere_and_misses_what_is_gone(laid):
    other = milk.make_wheel(plate="7100")
    made = count("1/1 7001\n2/2 7100\n7002\n9999")
    assert (made.expected, made.found) == (3, 3)
    told = {row["plate"]: row["what"] for row in made.differences}
    assert told == {"7000": "missing", "7001": "moved", "7100": "moved", "9999": "strange"}
    by_plate = dict(WheelPlace.objects.values_list("wheel__plate", "what"))
    assert by_plate == {"7000": "lost", "7001": "store", "7002": "store", "7100": "store"}
    assert str(other.lies.place).endswith("column 2, shelf 2")


def test_a_struck_count_takes_its_steps_along(laid):
    before = list(WheelPlace.objects.order_by("pk").values("wheel", "what", "place"))
    made = count("1/1 7001\n7002")
    assert WheelPlace.objects.filter(what="lost").exists()
    assert {row["what"] for row in made.differences} == {"missing", "moved"}
    strike_stock_count(made, by=user_in("cheesemaker"), reason="other", words="another aisle")
    assert list(WheelPlace.objects.order_by("pk").values("wheel", "what", "place")) == before
    assert not StoreGap.objects.standing().exists()
    assert StoreGap.objects.get().struck_words == "another aisle"


@pytest.mark.parametrize(
    ("scanned", "said"),
    [
        ("7000 7000", "scanned twice"),
        ("1/1 7000\n1/1 7001", "Two plates were scanned for shelf 1/1"),
        ("9/9 7000", "no shelf 9/9"),
        ("South/1/1/1 7000", "another aisle"),
        ("", "Scan at least one"),
        ("<b>", "neither a plate nor a shelf"),
    ],
)
def test_a_count_that_cannot_be_is_refused_and_nothing_is_written(laid, scanned, said):
    with pytest.raises(ValidationError, match=said):
        count(scanned)
    assert not StockCount.objects.exists()


def test_a_wheel_that_was_sent_is_strange_and_stays_sent(laid):
    milk.dispatch(laid[0], at=LAID_AT + 2 * HOUR)
    made = count("7000\n7001\n7002")
    assert [(row["plate"], row["what"]) for row in made.differences] == [("7000", "strange")]
    assert WheelPlace.objects.get(wheel=laid[0]).what == "sent"


def turn(at, what="brushed"):
    return milk.plain(StoreRound, at, None, room="North", aisle=1, what=what)


@pytest.mark.parametrize(
    ("days", "word", "told"),
    [
        (9, "in 1 day", 0),
        (10, "TODAY", 0),
        (11, "1 day OVER", 0),
        (13, "3 days OVER", 0),
        (14, "4 days OVER", 1),
    ],
)
def test_a_round_is_over_after_its_days_and_told_after_three_more(figures, laid, days, word, told):
    turn(LAID_AT)
    turn(LAID_AT + 5 * DAY, what="oiled")
    now = NOW + days * DAY
    (aisle,) = rounds(now).aisles
    assert aisle.word == word
    assert look_at_store(at=now)["rounds"] == told
    late = Notice.objects.filter(cause="rounds-late:North", closed_at=None)
    assert late.count() == 2 * told
    turn(now)
    look_at_store(at=now)
    assert not late.exists()


def test_rows_due_ring_once_and_late_ones_by_themselves(figures):
    wheel = milk.make_wheel()
    stay = milk.put_in_brine(wheel, at=milk.EVENING + 2 * DAY)
    due = stay.happened_at + 20 * DAY
    # Not before the hour of the lists: 05:00 on the estate's clock.
    assert look_at_store(at=due - 11.5 * HOUR)["rows"] == 0
    for _ in range(2):
        assert look_at_store(at=due)["rows"] == 1
    open_ = Notice.objects.filter(closed_at=None)
    assert {n.cause for n in open_.all()} == {f"brine-out:{due.date()}"}
    assert open_.count() == 2
    late = look_at_store(at=due + DAY + HOUR)
    assert (late["rows"], late["over"]) == (0, 1)
    assert {n.cause for n in open_.all()} == {"brine-late:1:1"}
    milk.take_out(wheel, at=due + DAY + HOUR)
    look_at_store(at=due + DAY + 2 * HOUR)
    assert not open_.exists()


def read_room(at, temperature, humidity=82):
    return milk.plain(
        RoomReading, at, None, room="North", temperature=Decimal(temperature), humidity=humidity
    )


def test_a_room_out_of_its_band_for_more_than_two_hours_rings(figures, laid):
    read_room(NOW - 5 * HOUR, "16.5")
    read_room(NOW, "19.5")
    read_room(NOW + HOUR, "19")
    (room,) = rooms_now(NOW + 2 * HOUR)
    assert (room.out_since, room.answer) == (NOW, "19 °C, ABOVE 18 °C, humidity 82 %")
    assert look_at_store(at=NOW + 2 * HOUR)["rooms"] == 0
    assert look_at_store(at=NOW + 2 * HOUR + timedelta(minutes=1))["rooms"] == 1
    read_room(NOW + 3 * HOUR, "17")
    assert look_at_store(at=NOW + 4 * HOUR)["rooms"] == 0
    assert not Notice.objects.filter(cause__startswith="room-out", closed_at=None).exists()


def found(at=NOW, **wanted):
    rows, _ = search(Wanted(**wanted), at)
    return [row.wheel.plate for row in rows]


def test_wheels_are_found_by_what_people_know_of_them(laid):
    other = milk.make_wheel(plate="8000")
    assert found() == ["7000", "7001", "7002", "8000"]
    assert found(plate="700") == ["7000", "7001", "7002"]
    assert found(plate="8000") == ["8000"]
    assert found(where="store", plate="001") == ["7001"]
    assert found(day=laid[1].vat.day, plate="7001") == ["7001"]
    assert found(room="North", aisle=1) == ["7000", "7001", "7002"]
    assert found(room="South") == []
    milk.dispatch(other, at=NOW)
    assert found(NOW + HOUR, plate="800") == []
    assert found(NOW + HOUR, plate="800", where="sent") == ["8000"]
    assert found(NOW + HOUR, plate="8000") == ["8000"]


def test_ages_are_full_months(laid):
    year = laid[0].happened_at + 365 * DAY
    assert found(year - DAY, least_age=12) == []
    assert found(year, least_age=12) == ["7000", "7001", "7002"]
    assert found(year, most_age=11) == []
    assert found(year - DAY, most_age=11) == ["7000", "7001", "7002"]


@given(days=st.integers(0, 4000), months=st.integers(0, 60))
def test_the_last_day_old_enough_agrees_with_the_age(days, months):
    today = NOW.date() + timedelta(days=days)
    last = youngest_of(months, today)
    assert full_months(last, today) >= months
    assert full_months(last + DAY, today) < months or last >= today
    assert first_younger(months, today) == last + DAY


def test_stock_counts_each_wheel_once(laid):
    rows = stock(NOW)
    assert [(row.age_words, row.grade_words, row.wheels) for row in rows] == [
        ("0 to 5 months", "not graded", 3)
    ]


def test_pages_of_the_store(figures, laid):
    pages = Pages()
    pages.force_login(user_in("store hand"))
    milk.plain(StoreFinding, LAID_AT + HOUR, None, wheel=laid[0], what="mites", words="few")
    for url, said in [
        ("/milk/store/", "3 wheels in store, 1 place free"),
        ("/milk/store/?plate=7001", "1 wheel found"),
        ("/milk/store/?aisle=x", "whole number"),
        ("/milk/store/North/1/", "mites, few"),
        ("/milk/rounds/", "North, aisle 1"),
        ("/milk/store/stock/", "3 wheels, 143 kg"),
        ("/milk/store/climate/", "No reading of a bath"),
        (laid[0].get_absolute_url(), "mites (few), not put right yet"),
    ]:
        page = pages.get(url)
        assert page.status_code == 200, url
        assert said in page.content.decode(), url
    assert pages.get("/milk/store/North/9/").status_code == 404
    assert pages.get("/milk/store/climate/?since=2020-01-01&until=2026-01-01").status_code == 400
    assert pages.get("/milk/store/stock/?as=pdf").content.startswith(b"%PDF")
    done = pages.send("/milk/rounds/done/", room="North", aisle="1")
    assert done.status_code == 302
    assert StoreRound.objects.get().what == "brushed"
    other = {"wheel": "7000", "place": "North/1/2/2", "happened_at": "2026-07-12T10:00"}
    assert pages.send("/milk/store/found/", **other).status_code == 302
    wrong = pages.send("/milk/store/found/", **{**other, "place": "North/2"})
    assert "is no place of the store" in wrong.content.decode()


def test_the_store_by_api(laid):
    api = Api(user_in("store hand"))
    assert [w["plate"] for w in api.get("/api/store/wheels/?plate=700").json()["wheels"]] == [
        "7000",
        "7001",
        "7002",
    ]
    assert api.get("/api/store/wheels/?least_age=x").status_code == 400
    (free,) = api.get("/api/store/free/?room=North").json()
    assert (free["column"], free["shelf"]) == (2, 2)
    wheel = milk.make_wheel()
    body = {"room": "North", "aisle": 1, "wheels": [str(wheel.uuid)]}
    laid_there = api.post("/api/store/lay/", {**body, "happened_at": NOW.isoformat()})
    assert laid_there.status_code == 201, laid_there.content
    again = api.post(
        "/api/store/lay/",
        {**body, "wheels": [str(milk.make_wheel().uuid)], "happened_at": NOW.isoformat()},
    )
    assert again.status_code == 409
    assert api.get("/api/rounds/").json()["aisles"][0]["wheels"] == 4
    assert api.get("/api/store/stock/").json()[0]["wheels"] == 4
    room = {"room": "South", "last_aisle": 2, "columns": 3, "shelves": 2}
    made = api.post("/api/store/rooms/", {**room, "happened_at": NOW.isoformat()})
    assert made.json() == {"room": "South", "places": 12}


@pytest.mark.parametrize("role", ["milker", "office", "inspector"])
def test_who_may_not_write_in_the_store(role):
    pages = Pages()
    pages.force_login(user_in(role))
    for url in ("/milk/store/lay/", "/milk/store/found/", "/milk/store/rooms/new/"):
        assert pages.get(url).status_code == 403
    assert pages.send("/milk/rounds/done/", room="North", aisle="1").status_code == 403


def test_wheels_that_were_never_in_brine_are_asked_about_before_they_are_laid(laid):
    pages = Pages()
    pages.force_login(user_in("store hand"))
    salted, never = milk.make_wheel(plate="8001"), milk.make_wheel(plate="8002")
    sent = {"room": "North", "aisle": "1", "column": "1", "happened_at": "2026-07-12T10:00"}
    make_room(
        stamp=milk.stamp_at(milk.EVENING - DAY), room="North", aisles=range(1, 2),
        columns=range(3, 5), shelves=range(1, 3),
    )  # fmt: skip
    # Where nobody writes of brine, nobody is asked.
    assert pages.send("/milk/store/lay/", plates="8002", **sent).status_code == 302
    milk.put_in_brine(salted)
    another = milk.make_wheel(plate="8003")
    asked = pages.send("/milk/store/lay/", plates="8001 8003", **sent)
    assert asked.status_code == 200
    assert "Never put into brine by the book: 8003." in asked.content.decode()
    assert 'type="checkbox" name="unsalted"' in asked.content.decode()
    assert not another.store_stays.exists()
    assert not salted.store_stays.exists()
    done = pages.send("/milk/store/lay/", plates="8001 8003", unsalted="on", **sent)
    assert done.status_code == 302
    assert another.store_stays.count() == salted.store_stays.count() == 1
    assert never.store_stays.count() == 1
