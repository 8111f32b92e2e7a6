"""How many touches an entry takes from the day sheet on, and half a minute to take it back.

The counts are the house's own: a dose from a plan 3, the start of a cut 2, a load to a group 3, a
good wheel 1.
"""

from collections.abc import Callable
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect

from feed.models import Feeding, ForageBatch
from herd.models import Dose
from milk.models import Inspection
from milk.services.wheel_places import place_again
from tests.browser.conftest import BY_HAND
from tests.browser.estate import by, course_for
from tests.browser.estate import furnish as small_estate
from tests.cast import user_in
from tests.factories import cheese, milk
from tests.factories.feed import make_batch, make_figure
from tests.factories.herd import HOUR

pytestmark = pytest.mark.django_db
SHEETS = (
    *("vet", "stockman", "milker", "feed-hand", "cheesemaker", "store-hand", "office", "owner"),
    "relief",
)
MOST_LINES = 7
# Of all that can be touched on a sheet the next act is the largest; where the list of lines ends.
SHEET = """() => {
  const area = (one) => { const box = one.getBoundingClientRect(); return box.width * box.height; };
  const next = document.querySelector("a.next-act");
  const others = [...document.querySelectorAll("a, button, input:not([type=hidden])")]
    .filter((one) => one !== next);
  return {
    lines: document.querySelectorAll("ul.glance > li").length,
    ends: document.querySelector("ul.glance").getBoundingClientRect().bottom,
    next: next ? area(next) : null,
    largest: Math.max(...others.map(area)),
  };
}"""


def furnish() -> None:
    """The small estate, a load at the fence, a dose that is due, wheels to tap."""
    small_estate()
    for role in ("store hand", "office", "owner"):
        user_in(role)
    make_figure("wagon", 9000)
    make_batch(happened_at=timezone.now() - HOUR)
    course_for(1041)
    cheese.make_rules()
    wheel = milk.make_wheel(vat=cheese.make_old_vat(), plate="8011")
    place = milk.make_store_place(room="North", aisle=2, column=1, shelf=1)
    milk.put_in_store(wheel, place=place)
    place_again([wheel.pk])


class Hand:
    """A gloved hand: every touch counts, and nothing is typed."""

    def __init__(self, page: Page) -> None:
        self.page, self.touches = page, 0

    def touch(self, what: Locator) -> None:
        what.first.click()
        self.touches += 1

    def link(self, words: str) -> None:
        self.touch(self.page.get_by_role("link", name=words))

    def button(self, words: str) -> None:
        self.touch(self.page.get_by_role("button", name=words))


def dose(hand: Hand) -> Callable[[], int]:
    hand.page.goto("/today/stockman/")
    hand.touch(hand.page.locator("a.next-act"))
    hand.button("Given now")
    return Dose.objects.filter(struck_at=None).count


def cut(hand: Hand) -> Callable[[], int]:
    hand.page.goto("/today/feed-hand/")
    hand.link("Start a cut")
    hand.button("Cut begins now, dry")
    return ForageBatch.objects.filter(struck_at=None, field__name="Long Acre").count


def load_to_group(hand: Hand) -> Callable[[], int]:
    hand.page.goto("/today/feed-hand/")
    hand.link("Feed a group")
    hand.button("Group 5:")
    return Feeding.objects.filter(struck_at=None).count


def good_wheel(hand: Hand) -> Callable[[], int]:
    hand.page.goto("/milk/tap/?room=North&aisle=2&which=every")
    hand.button("First")
    return Inspection.objects.filter(struck_at=None).count


@pytest.mark.parametrize(
    ("role", "act", "most"),
    [
        ("stockman", dose, 3),
        ("feed hand", cut, 2),
        ("feed hand", load_to_group, 3),
        ("cheesemaker", good_wheel, 1),
    ],
)
def test_an_entry_takes_so_many_touches_and_is_taken_back_by_one(phone, role, act, most):
    one = phone(by(role))
    hand = Hand(one.page)
    count = act(hand)
    undo = one.page.get_by_role("button", name="Undo")
    expect(undo).to_be_visible()
    assert count() == 1
    assert hand.touches <= most
    undo.click()
    expect(one.page.get_by_text("Taken back:")).to_be_visible()
    assert count() == 0
    expect(undo).to_have_count(0)


def test_the_offer_goes_after_half_a_minute_and_the_entry_is_struck_where_it_stands(phone):
    one = phone(by("stockman"))
    one.page.clock.install()
    hand = Hand(one.page)
    count = dose(hand)
    undo = one.page.get_by_role("button", name="Undo")
    expect(undo).to_be_visible()
    one.page.clock.fast_forward(31_000)
    expect(undo).to_have_count(0)
    assert count() == 1
    given = Dose.objects.get(struck_at=None)
    one.page.goto(f"/entries/doses/{given.uuid}/")
    one.page.get_by_role("link", name="Strike").click()
    one.page.get_by_label("Why").select_option("animal")
    one.page.get_by_role("button", name="Strike").click()
    expect(one.page.locator(".messages")).to_contain_text("It stays readable")
    assert count() == 0


def test_without_a_script_it_is_taken_back_as_well(phone):
    one = phone(by("feed hand"), java_script_enabled=False)
    hand = Hand(one.page)
    count = cut(hand)
    assert count() == 1
    hand.button("Undo")
    assert "Taken back:" in one.page.inner_text(".messages")
    assert count() == 0
    assert hand.touches == 3


@pytest.mark.parametrize("sheet", SHEETS)
def test_a_day_sheet_says_it_in_seven_lines_without_scrolling(phone, sheet, pictures):
    reader: Any = by("vet" if sheet == "relief" else sheet.replace("-", " "))
    page = phone(reader).page
    page.goto(f"/today/{sheet}/")
    found = page.evaluate(SHEET)
    page.screenshot(path=pictures / f"today-{sheet}-360.png")
    assert 0 < found["lines"] <= MOST_LINES
    assert found["ends"] <= BY_HAND["height"]
    assert found["next"] is None or found["next"] > found["largest"]


def test_whatever_one_looks_for_is_found_from_the_field_on_every_page(phone):
    page = phone(by("milker")).page
    for path in ("/today/milker/", "/herd/withheld/", "/feed/board/", "/milk/lots/", "/nowhere/"):
        page.goto(path)
        field = page.get_by_label("Find a cow, tag, lot, plate, load or field")
        expect(field).to_be_visible()
        field.fill("1042")
        field.press("Enter")
        expect(page.locator("main")).to_contain_text("1042")
