"""Tapping in an aisle without a network: one touch a good wheel, each written once afterwards."""

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from milk.models import Inspection
from milk.services.wheel_places import place_again
from tests.browser.estate import by
from tests.cast import user_in
from tests.factories import cheese, milk

pytestmark = pytest.mark.django_db
HERE = "/milk/tap/aisle/North/2/"


def furnish() -> None:
    """Four old wheels on the shelves of an aisle."""
    user_in("cheesemaker")
    cheese.make_rules()
    for column in (1, 2):
        vat = cheese.make_old_vat()
        wheels = []
        for shelf in (1, 2):
            wheel = milk.make_wheel(vat=vat, plate=f"80{column}{shelf}")
            place = milk.make_store_place(room="North", aisle=2, column=column, shelf=shelf)
            milk.put_in_store(wheel, place=place)
            wheels.append(wheel)
        place_again([wheel.pk for wheel in wheels])


def is_up(page, plate):
    """Wait until this wheel, and no other, can be touched: the phone looks up first what waits."""
    expect(page.locator(".in-row button:visible")).to_have_text([f"{plate}: first"])


def test_down_an_aisle_without_a_network(phone, line, pictures):
    tapper = phone(by("cheesemaker")).visit(HERE)
    line.go("down")
    page = tapper.page
    page.goto(HERE)
    began = timezone.now()
    is_up(page, "8011")
    tapper.press("8011: first")
    is_up(page, "8012")
    page.screenshot(path=pictures / "tap-aisle-360.png", full_page=True)
    tapper.press("8012: first")
    page.get_by_role("button", name="Take it back").click()
    page.wait_for_selector("text=Taken back. Nothing is written.")
    is_up(page, "8012")
    tapper.press("8012: first")
    # Opened again, what waits on the phone is not up any more.
    page.goto(HERE)
    page.wait_for_selector(".in-row button:visible")
    is_up(page, "8021")
    assert not Inspection.objects.exists()
    line.go("up")
    tapper.sends_all()
    rows = Inspection.objects.order_by("happened_at")
    assert [row.wheel.plate for row in rows] == ["8011", "8012"]
    assert {(row.grade, row.by.username) for row in rows} == {("first", "cheesemaker")}
    assert all(began <= row.happened_at < row.received_at for row in rows)


def test_with_a_network_the_next_wheel_is_up_at_once(phone, line):
    tapper = phone(by("cheesemaker")).visit(HERE)
    page = tapper.page
    page.goto(HERE)
    is_up(page, "8021")
    page.get_by_role("button", name="8021: first").click()
    page.wait_for_selector("button:has-text('8022: first')")
    assert Inspection.objects.filter(wheel__plate="8021").count() == 1
