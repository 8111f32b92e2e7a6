"""The parlour wall in a real browser: it renews itself, and says NOT SURE when it cannot.

The page is the server's own, with its headers; the network between the two is played by the test.
"""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.contrib.staticfiles import finders
from django.utils import timezone
from playwright.sync_api import Page, Route, sync_playwright

from herd.models import UnknownCow
from tests.browser.screenshots import FLAGS
from tests.factories.herd import make, make_animal, make_course, make_dose, make_group, put_in_group
from tests.herd.conftest import rules

__all__ = ["rules"]
ADDRESS = "http://wall.test/herd/wall/5/"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
TYPES = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
MINUTE = 60_000

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on the path")


@pytest.fixture
def sheet(rules: Any, vet_client: Any) -> Any:
    """The server's answer: group 5 with a withheld cow, one in TANK, and an unknown one."""
    group = make_group(5)
    for number in (1042, 877):
        put_in_group(make_animal(number), group)
    out = make_animal(1310)
    put_in_group(out, group)
    now = timezone.now()
    make_dose(make_course(out, doses=3, happened_at=now), now)
    make(UnknownCow, at=now, group=group)
    return vet_client.get("/herd/wall/5/")


class Network:
    """Between the screen and the server: ``up``, ``down``, ``signed out`` or ``broken``."""

    def __init__(self, sheet: Any) -> None:
        self.body, self.headers = sheet.content.decode(), dict(sheet.headers)
        self.state, self.asked = "up", 0

    def answer(self, route: Route) -> None:
        path = route.request.url.partition("wall.test")[2].partition("?")[0]
        if path.startswith("/static/"):
            found = finders.find(path.removeprefix("/static/"))
            assert isinstance(found, str)
            file = Path(found)
            route.fulfill(body=file.read_bytes(), content_type=TYPES[file.suffix])
            return
        self.asked += 1
        if self.state == "down":
            route.abort("internetdisconnected")
        elif self.state == "signed out":
            route.fulfill(status=302, headers={"Location": "/login/"})
        elif self.state == "broken":
            route.fulfill(status=500, body="<main id='wall'>", content_type="text/html")
        else:
            route.fulfill(body=self.body, headers=self.headers)


@pytest.fixture
def network(sheet: Any) -> Network:
    return Network(sheet)


@pytest.fixture
def wall(network: Network) -> Iterator[Page]:
    """The wall in Chromium, its clock in our hands."""
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page(viewport={"width": 1280, "height": 720})
        complaints: list[str] = []
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on(
            "console",
            lambda told: complaints.append(told.text) if "Content Security" in told.text else None,
        )
        page.route("**/*", network.answer)
        page.clock.install()
        page.goto(ADDRESS)
        yield page
        browser.close()
        assert complaints == []


def words(page: Page) -> list[str]:
    return page.locator(".word").all_inner_texts()


def pass_time(page: Page, minutes: float) -> None:
    """Let time pass in steps, as the screen would live through it."""
    for _ in range(int(minutes * 3)):
        page.clock.run_for(MINUTE // 3)
        page.wait_for_timeout(20)


def test_the_list_is_large_and_says_how_old_it_is(wall: Page) -> None:
    assert wall.locator("h1").inner_text() == "Group 5: line open to tank B"
    assert [text.partition(",")[0] for text in words(wall)] == ["NOT: unknown cow", "NOT"]
    size = wall.locator(".number").first.evaluate(
        "one => parseFloat(getComputedStyle(one).fontSize)"
    )
    assert size >= 80
    assert wall.locator("#unsure").is_hidden()
    assert "as at" in wall.locator(".as-at").inner_text()


def test_it_asks_again_and_stays_sure(wall: Page, network: Network) -> None:
    asked = network.asked
    pass_time(wall, 8)
    assert network.asked >= asked + 10
    assert wall.locator("#unsure").is_hidden()


@pytest.mark.parametrize("state", ["down", "signed out", "broken"])
def test_without_an_answer_every_cow_is_not_sure(wall: Page, network: Network, state: str) -> None:
    network.state = state
    pass_time(wall, 4)
    assert wall.locator("#unsure").is_hidden()
    assert "min old" in wall.locator("#age").inner_text()
    pass_time(wall, 2)
    assert set(words(wall)) == {"NOT SURE"}
    assert wall.locator("#unsure").is_visible()
    assert "TANK" not in wall.locator("#wall").inner_text()
    network.state = "up"
    pass_time(wall, 1)
    assert "NOT SURE" not in words(wall)
    assert wall.locator("#unsure").is_hidden()


def test_a_machine_that_slept_is_not_sure(wall: Page, network: Network) -> None:
    network.state = "down"
    wall.clock.fast_forward("06:00:00")
    wall.wait_for_timeout(50)
    pass_time(wall, 0.5)
    assert set(words(wall)) == {"NOT SURE"}


def test_without_javascript_it_reloads_by_itself(sheet: Any) -> None:
    body = sheet.content.decode()
    assert '<noscript><meta http-equiv="refresh" content="20"></noscript>' in body
    assert sheet.headers["Cache-Control"] == "no-store"
    assert "unsafe-inline" not in sheet.headers["Content-Security-Policy"]
