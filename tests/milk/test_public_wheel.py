"""The page of a wheel for anybody: its story, and nothing that is nobody else's business."""

from datetime import timedelta

import pytest
from django.core.cache import cache
from django.test import Client

from milk.models import MilkFigure
from milk.services import holds
from milk.vat_code import vat_code
from tests.cast import text
from tests.factories import cheese, feed, milk
from tests.factories.herd import make_group, make_user

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)


@pytest.fixture(autouse=True)
def nobody_asked_yet():
    cache.clear()


@pytest.fixture
def product():
    return cheese.make_product(name="Larkfold long-aged")


@pytest.fixture
def wheel(product):
    """A wheel with everything around it that must not show."""
    group = make_group(number=77)
    field = feed.make_field(name="Upper Lea")
    at = cheese.MADE
    batch = feed.make_batch(field=field, at=at - 30 * HOUR)
    feed.make_feeding(batch=batch, group=group, at=at - 20 * HOUR)
    tank = milk.make_tank()
    milk.make_milking(group=group, tank=tank, at=at - 12 * HOUR, kg=3000)
    vat = cheese.make_old_vat(number=17)
    milk.fill(vat, tank=tank, kg=1100, at=at)
    wheel = cheese.make_ripe(vat=vat, plate="0004712")
    buyer = milk.make_buyer(name="Secret Buyer")
    milk.dispatch(wheel, buyer=buyer, at=at + timedelta(days=390))
    return wheel


def link(wheel, product, *, lot="", plate=""):
    lot, plate = lot or vat_code(wheel.vat), plate or wheel.plate
    return f"/01/{product.gtin}/10/{lot}/21/{plate}"


def hold(wheel):
    return holds.hold_milk(
        stamp=milk.stamp_at(milk.EVENING, make_user("vet")),
        reason="other",
        words="Secret reason",
        wheel=wheel,
    )


def test_the_story_in_plain_words_and_nothing_private(wheel, product):
    before = Client().get(link(wheel, product))
    hold(wheel)
    page = Client().get(link(wheel, product))
    said = text(page)
    for words in ("Larkfold long-aged", "0004712", "group 77", "Upper Lea", "raw milk", "twin A"):
        assert words in said
    for words in ("Secret", "held", "hold", "first", "graded", "treat", wheel.by.username):
        assert words.lower() not in said.lower()
    # What is held reads as what is not.
    assert page.content == before.content
    assert page["Cache-Control"] == "public, max-age=300"
    assert not page.cookies
    assert "Cookie" not in page.get("Vary", "")


@pytest.mark.parametrize(
    "wrong",
    [{"plate": "0004713"}, {"lot": "20250101-17"}, {"plate": "9" * 40}, {"plate": "%00"}],
)
def test_what_is_not_a_code_of_ours_gets_one_answer(wheel, product, wrong):
    asked = link(wheel, product, **wrong)
    answers = {Client().get(path).content for path in (asked, "/01/09521234543213/10/1/21/1")}
    assert len(answers) == 1
    assert Client().get(asked).status_code == 404
    assert b"0004712" not in answers.pop()


def test_a_gtin_that_is_not_ours_is_not_answered(wheel, product):
    for gtin in ("09506000134352", "09521234543214", "x"):
        path = link(wheel, product).replace(product.gtin, gtin)
        assert Client().get(path).status_code == 404


def test_a_sold_wheel_says_to_ask_only_where_the_estate_set_so(wheel, product):
    cheese.make_rules()
    hold(wheel)
    assert "ask the dairy" not in text(Client().get(link(wheel, product)))
    milk.plain(
        MilkFigure, milk.EVENING, None,
        what="ask dairy", value=1, unit="0 or 1", valid_from="2026-06-01", source="invented",
    )  # fmt: skip
    page = text(Client().get(link(wheel, product)))
    assert "ask the dairy" in page
    assert "Secret" not in page
    # One in the store, held as well, says nothing.
    stored = cheese.make_ripe(plate="0004799")
    hold(stored)
    assert "ask the dairy" not in text(Client().get(link(stored, product)))


def test_too_many_from_one_address_are_slowed_down(product, monkeypatch):
    monkeypatch.setattr("milk.views.public.PublicThrottle.rate", "2/min", raising=False)
    path = "/01/09521234543213/10/1/21/1"
    assert [Client().get(path).status_code for _ in range(3)] == [404, 404, 429]
    other = Client(REMOTE_ADDR="10.0.0.9").get(path)
    assert other.status_code == 404
    assert Client().get(path)["Retry-After"]


def test_only_reading(wheel, product):
    assert Client().post(link(wheel, product)).status_code == 405


def test_the_print_sheet_of_a_day(wheel, product, store_hand_client, settings):
    settings.PUBLIC_URL = "https://wheels.example"
    day = wheel.vat.day
    page = store_hand_client.get(f"/milk/labels/?day={day}")
    address = f"https://wheels.example{link(wheel, product)}"
    assert f'href="{address}"' in page.content.decode()
    sheet = store_hand_client.get(f"/milk/labels/?day={day}&as=pdf")
    assert sheet.content.startswith(b"%PDF")
    assert sheet["Content-Type"] == "application/pdf"
    settings.PUBLIC_URL = ""
    refused = store_hand_client.get(f"/milk/labels/?day={day}&as=pdf")
    assert "Set PUBLIC_URL" in text(refused)
    assert Client().get("/milk/labels/").status_code == 302
