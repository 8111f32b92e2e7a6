"""Drawings for whoever cannot see them, or has no pointer, or prints them.

The trace, the counts of the tanks, the lactation of a cow, the board of the fence, the map of the
store: each has a title and a description, its data as a table, is walked through by the keys alone,
and prints.
"""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, expect

from herd.models import Animal, Group
from tests.browser.conftest import AT_A_DESK, BY_HAND, Phone
from tests.browser.estate import by
from tests.browser.test_every_page import furnish as every_kind
from tests.browser.test_keyboard import WHERE
from tests.browser.walk import given
from tests.factories.herd import make_animal, make_calving, make_recording, put_in_group

pytestmark = pytest.mark.django_db
# A4 between its margins, in px of 1/96 inch.
A4 = {"width": 718, "height": 1020}
MOST_STOPS = 400
COW = 7041
DRAWN = """() => [...document.querySelectorAll("main svg[role]")].map((one) => ({
  shown: one.getClientRects().length > 0,
  named: (one.getAttribute("aria-labelledby") || "").split(" ")
    .map((id) => document.getElementById(id)?.textContent.trim() || ""),
  links: one.querySelectorAll("a").length,
  role: one.getAttribute("role"),
}))"""
# Where the focus is: in a drawing, or on the summary that opens its table.
FOCUS = """() => {
  const one = document.activeElement;
  return {svg: Boolean(one.closest("main svg")), summary: one.tagName === "SUMMARY",
          main: Boolean(one.closest("main")), body: one === document.body};
}"""


def furnish() -> None:
    """An entry of every kind, and a cow that was recorded in three months of her lactation."""
    every_kind()
    now = timezone.now()
    cow = make_animal(COW)
    put_in_group(cow, Group.objects.get(number=5))
    make_calving(cow, happened_at=now - timedelta(days=120))
    for days, cells in ((100, 90), (70, 140), (40, 410)):
        make_recording(cow, cells, happened_at=now - timedelta(days=days), milk_kg="28.5")


def pages_with_drawings() -> dict[str, str]:
    cow = Animal.objects.get(farm_number=COW)
    told = given()
    return {
        "trace back": told["milk:trace-back"][0],
        "trace forward": told["milk:trace-forward"][0],
        "counts of the tanks": "/milk/quality/",
        "lactation of a cow": reverse("herd:animal-udder", args=[cow.uuid]),
        "board of the fence": "/feed/board/",
        "map of the store": "/milk/store/",
    }


DRAWINGS = (
    "trace back",
    "trace forward",
    "counts of the tanks",
    "lactation of a cow",
    "board of the fence",
    "map of the store",
)


@pytest.fixture
def drawn(phone, request) -> Phone:
    one: Phone = phone(by("vet"))
    one.page.goto(pages_with_drawings()[request.param])
    return one


def shown_on(page: Page) -> list[dict]:
    return [one for one in page.evaluate(DRAWN) if one["shown"]]


@pytest.mark.parametrize("drawn", DRAWINGS, indirect=True)
def test_a_drawing_is_named_and_described_and_shown_once_at_every_width(drawn):
    page = drawn.page
    for size in (BY_HAND, A4, AT_A_DESK):
        page.set_viewport_size(size)
        found = shown_on(page)
        assert found, size
        # Two forms of a drawing stand on the page, for narrow and wide; one of them is shown.
        assert len(found) * 2 == len(page.evaluate(DRAWN))
        for one in found:
            title, description = one["named"]
            assert title
            assert len(description) > len("a drawing")
            # A picture is read as one thing; links in it would be lost.
            assert one["role"] == ("group" if one["links"] else "img")


@pytest.mark.parametrize("drawn", DRAWINGS, indirect=True)
def test_its_data_stand_beside_it_as_a_table_that_the_keys_open(drawn):
    page = drawn.page
    links, opened, inside = sum(one["links"] for one in shown_on(page)), 0, 0
    for _ in range(MOST_STOPS):
        page.keyboard.press("Tab")
        here = page.evaluate(FOCUS)
        if here["body"]:
            break
        if here["main"]:
            assert page.evaluate(WHERE)["seen"], page.evaluate(WHERE)
        inside += here["svg"]
        if here["summary"] and not page.evaluate("document.activeElement.parentElement.open"):
            page.keyboard.press("Enter")
            opened += 1
    # The way through is no trap, and stops once at every link of the drawing.
    assert here["body"]
    assert inside == links
    tables = page.locator("main table:visible")
    assert opened or tables.count()
    assert tables.count() >= 1
    expect(tables.first.locator("tbody tr").first).to_be_visible()


@pytest.mark.parametrize("drawn", DRAWINGS, indirect=True)
def test_it_prints(drawn, pictures, request):
    page = drawn.page
    page.set_viewport_size(A4)
    page.emulate_media(media="print", color_scheme="dark")
    assert shown_on(page)
    ground = page.evaluate("getComputedStyle(document.documentElement).getPropertyValue('--paper')")
    assert ground.strip() == "#fff"
    wide = page.evaluate(
        "Math.max(...[...document.querySelectorAll('main svg[role]')].map("
        "(one) => one.getBoundingClientRect().right))"
    )
    assert wide <= A4["width"] + 1
    name = request.node.callspec.id.replace(" ", "-")
    page.screenshot(path=pictures / f"print-{name}.png", full_page=True)
