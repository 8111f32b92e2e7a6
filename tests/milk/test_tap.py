"""Tapping down an aisle: what is due, one touch, two touches, and half a minute to undo."""

from datetime import UTC, datetime, timedelta

import pytest

from milk.models import Inspection
from milk.services.wheel_places import place_again
from tests.cast import text
from tests.factories import cheese, milk

pytestmark = pytest.mark.django_db

AISLE = {"room": "Long store", "aisle": 4}
HERE = "?room=Long+store&aisle=4"


@pytest.fixture(autouse=True)
def rules(db):
    cheese.make_rules()


@pytest.fixture
def aisle():
    """Twins on shelves 1/1 and 2/1, and a younger wheel between them."""
    vat = cheese.make_old_vat()
    wheels = []
    for vat_, column, shelf in ((vat, 1, 1), (None, 1, 2), (vat, 2, 1)):
        wheel = milk.make_wheel(vat=vat_ or milk.make_vat())
        milk.put_in_store(wheel, place=milk.make_store_place(column=column, shelf=shelf, **AISLE))
        wheels.append(wheel)
    place_again([wheel.pk for wheel in wheels])
    return wheels


def test_down_the_aisle_with_one_touch_and_two(aisle, cheesemaker_client):
    first, _young, twin = aisle
    page = cheesemaker_client.get(f"/milk/tap/{HERE}")
    assert page.context["seen"].wheel == first
    assert page.context["left"] == 2
    good = cheesemaker_client.send(f"/milk/tap/grade/{HERE}", wheel=first.plate, grade="first")
    assert good.status_code == 302, text(good)
    page = cheesemaker_client.get(good.url)
    assert page.context["seen"].wheel == twin
    assert page.context["seen"].twin.last.grade == "first"
    assert page.context["last"].wheel == first
    fault = cheese.make_fault(name="a slit")
    choose = cheesemaker_client.get(f"{good.url}&plate={twin.plate}&grade=second")
    assert "A slit" in text(choose)
    bad = cheesemaker_client.send(
        f"/milk/tap/grade/{HERE}", wheel=twin.plate, grade="second", fault=str(fault.uuid)
    )
    assert bad.status_code == 302, text(bad)
    assert Inspection.objects.standing().get(wheel=twin).fault == fault
    assert "nothing more is due" in text(cheesemaker_client.get(bad.url))
    every = cheesemaker_client.get(f"/milk/tap/{HERE}&which=every")
    assert every.context["seen"].wheel == aisle[1]


def test_a_wheel_that_is_left_does_not_come_back_this_time(aisle, cheesemaker_client):
    page = cheesemaker_client.get(f"/milk/tap/{HERE}&after=1/1")
    assert page.context["seen"].wheel == aisle[2]


def test_undo_strikes_and_has_the_wheel_up_again(aisle, cheesemaker_client, store_hand_client):
    wheel = aisle[0]
    cheesemaker_client.send(f"/milk/tap/grade/{HERE}", wheel=wheel.plate, grade="first")
    written = Inspection.objects.get(wheel=wheel)
    number = str(written.uuid)
    assert store_hand_client.send("/milk/tap/undo/", inspection=number).status_code == 403
    done = cheesemaker_client.send(f"/milk/tap/undo/{HERE}", inspection=number)
    assert cheesemaker_client.get(done.url).context["seen"].wheel == wheel
    written.refresh_from_db()
    assert written.is_struck
    assert cheesemaker_client.send("/milk/tap/undo/", inspection="no").status_code == 400


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"grade": "second"}, "choose it from the list, or say it in words"),
        ({"grade": "blue"}, "not one of the available choices"),
        ({"grade": "first", "wheel": "nothing"}, ""),
    ],
)
def test_what_is_wrong_is_said_and_not_saved(aisle, cheesemaker_client, sent, said):
    answer = cheesemaker_client.send(f"/milk/tap/grade/{HERE}", **{"wheel": aisle[0].plate, **sent})
    assert answer.status_code in (400, 404)
    assert said in text(answer)
    assert not Inspection.objects.exists()


def test_only_a_newer_inspection_corrects(aisle, cheesemaker_client, cheesemaker_api):
    old = cheese.inspect(aisle[0])
    refused = cheesemaker_api.post(f"/api/inspections/{old.uuid}/strike/", {"reason": "product"})
    assert refused.status_code == 409
    assert "newer inspection" in refused.content.decode()


def test_who_may_look_and_who_may_grade(aisle, store_hand_client):
    assert "Your role looks" in text(store_hand_client.get(f"/milk/tap/{HERE}"))
    answer = store_hand_client.send("/milk/tap/grade/", wheel=aisle[0].plate, grade="first")
    assert answer.status_code == 403
    aisles = store_hand_client.get("/milk/tap/")
    assert "2 due" in text(aisles)
    assert store_hand_client.get("/milk/tap/?plate=none").status_code == 200


def test_how_sound_wheels_of_the_day_did_later(aisle, cheesemaker_client):
    first, _, twin = aisle
    cheese.inspect(twin, at=datetime.now(UTC) - timedelta(days=300))
    cheese.inspect(twin, "second", at=datetime.now(UTC) - timedelta(days=20), findings="eyes")
    page = cheesemaker_client.get(f"/milk/tap/{HERE}")
    assert page.context["seen"].wheel == first
    assert page.context["seen"].stayed == (1, 0)
    assert page.context["seen"].day == [("second", 1)]
    assert "eyes" in text(page)


LIST = "/milk/tap/aisle/Long%20store/4/"


def test_the_whole_aisle_on_one_page_for_where_there_is_no_network(
    aisle, cheesemaker_client, django_assert_max_num_queries
):
    first, young, twin = aisle
    page = cheesemaker_client.get(LIST)
    assert [one.wheel for one in page.context["wheels"]] == [first, twin]
    sent = cheesemaker_client.send(
        f"/milk/tap/grade/?{page.context['query']}", wheel=first.plate, grade="first"
    )
    assert sent.url == f"{LIST}?which=due"
    with django_assert_max_num_queries(20):
        page = cheesemaker_client.get(sent.url)
    (left,) = page.context["wheels"]
    assert (left.wheel, left.twin) == (twin, "first")
    assert page.context["last"].wheel == first
    every = cheesemaker_client.get(f"{LIST}?which=every")
    assert [one.wheel for one in every.context["wheels"]] == [young, twin]


def test_the_list_of_an_aisle_is_the_cheesemakers_to_grade(
    aisle, store_hand_client, inspector_client
):
    for client in (store_hand_client, inspector_client):
        page = text(client.get(LIST))
        assert "the cheesemaker grades" in page
        assert "first" not in page.partition("cheesemaker grades")[2].partition("caution")[0][:80]
    assert store_hand_client.get("/milk/tap/aisle/Nowhere/4/").status_code == 404
