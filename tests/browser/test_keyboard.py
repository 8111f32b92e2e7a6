"""The main path of each role with the keys alone: every stop is seen, none is a trap."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page

from feed.models import ForageBatch
from herd.models import Dose, HealthEvent
from milk.models import Milking, Wheel
from tests.browser.estate import by, course_for, cow, furnish
from tests.factories.milk import make_vat

__all__ = ["furnish"]
pytestmark = pytest.mark.django_db
# No page has more stops than this before what one came for.
MOST_STOPS = 60
WHERE = """() => {
  const one = document.activeElement;
  const style = getComputedStyle(one);
  const label = one.labels && one.labels[0] ? one.labels[0].innerText : "";
  return {words: `${label} ${one.innerText || ""}`.replace(/\\s+/g, " ").trim(), tag: one.tagName,
          seen: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2};
}"""


def tab_to(page: Page, words: str) -> None:
    """Press Tab until the focus is on what is called so; each stop must be seen."""
    stops = []
    for _ in range(MOST_STOPS):
        page.keyboard.press("Tab")
        here = page.evaluate(WHERE)
        if here["tag"] == "BODY":
            continue
        assert here["seen"], f"the focus on {here} is not seen"
        stops.append(here["words"][:30])
        if here["words"].startswith(words):
            return
    raise AssertionError(f"no way by keys to “{words}”; stops: {stops}")


def write(page: Page, words: str, text: str) -> None:
    tab_to(page, words)
    page.keyboard.type(text)


def cut(page: Page) -> Callable[[], Any]:
    page.goto("/feed/cuts/new/")
    tab_to(page, "Cut here")
    page.keyboard.press("Enter")
    page.wait_for_selector("#id_kg")
    write(page, "Loaded, kg", "9000")
    tab_to(page, "Cut begins")
    page.keyboard.press("Enter")
    return ForageBatch.objects.count


def dose(page: Page) -> Callable[[], Any]:
    course = course_for(1041)
    page.goto(f"/herd/animals/{course.animal.uuid}/")
    tab_to(page, "Given now")
    page.keyboard.press("Enter")
    return Dose.objects.filter(course=course).count


def sign(page: Page) -> Callable[[], Any]:
    page.goto("/entries/health-events/new/")
    write(page, "Animal", "1042")
    write(page, "Sign", "off feed")
    tab_to(page, "Write it")
    page.keyboard.press("Enter")
    return HealthEvent.objects.filter(animal=cow(1042)).count


def milking(page: Page) -> Callable[[], Any]:
    page.goto("/milk/milkings/new/")
    # By the first letters a list goes to its line.
    write(page, "Group", "group 5")
    write(page, "Into tank", "t")
    write(page, "Into the tank, kg", "3100")
    tab_to(page, "Milked")
    page.keyboard.press("Enter")
    return Milking.objects.count


def wheels(page: Page) -> Callable[[], Any]:
    vat = make_vat()
    page.goto(f"/milk/vats/{vat.uuid}/wheels/")
    write(page, "Plate of twin A", "0004711")
    write(page, "Plate of twin B", "0004712")
    tab_to(page, "Numbered")
    page.keyboard.press("Enter")
    return Wheel.objects.filter(vat=vat).count


@pytest.mark.parametrize(
    ("role", "path", "written"),
    [
        ("feed hand", cut, 1),
        ("stockman", dose, 1),
        ("vet", sign, 1),
        ("milker", milking, 1),
        ("cheesemaker", wheels, 2),
    ],
)
def test_the_main_path_of_a_role_needs_no_pointer(phone, role, path, written):
    one = phone(by(role))
    count = path(one.page)
    one.page.wait_for_selector(".messages:has-text('Written')")
    assert count() == written


def test_the_first_stop_leads_past_the_head(phone):
    page = phone(by("vet")).page
    page.goto("/herd/withheld/")
    page.keyboard.press("Tab")
    assert page.evaluate(WHERE)["words"] == "To the sheet"
    page.keyboard.press("Enter")
    assert page.evaluate("() => document.activeElement.id") == "main"
