"""The page of a cut in a real browser without the network: free or not, and what instead (T39)."""

import shutil
from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.contrib.staticfiles import finders
from django.utils import timezone
from playwright.sync_api import Page, Route, sync_playwright

from config.days import day_words, local_day
from tests.browser.screenshots import FLAGS
from tests.factories.feed import make_field, make_sample, make_walk, make_work
from tests.factories.herd import DAY

ADDRESS = "http://cut.test/feed/cuts/new/"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
TYPES = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on the path")


@pytest.fixture
def sheet(db: None, feed_hand_client: Any) -> Any:
    """Mill Field waits nine days more, Far Field four; Near Field lies nearest, with 12 t."""
    now, north = timezone.now(), Decimal("47.10000")
    mill = make_field("Mill Field", latitude=north, longitude=Decimal("9.50000"))
    near = make_field("Near Field", latitude=north, longitude=Decimal("9.51000"))
    far = make_field("Far Field", latitude=north, longitude=Decimal("9.60000"))
    make_field("Ox Ground", latitude=north, longitude=Decimal("9.55000"))
    make_work(mill, happened_at=now - 2 * DAY, waiting_days=11)
    make_work(far, happened_at=now - 2 * DAY, waiting_days=6)
    make_sample(16, field=near, happened_at=now - timedelta(hours=3))
    make_walk(near, cover=240, happened_at=now - timedelta(hours=3))
    return feed_hand_client.get(f"/feed/cuts/new/?field={mill.uuid}")


@pytest.fixture
def cut(sheet: Any) -> Iterator[Page]:
    """The page, then the network is gone."""

    def answer(route: Route) -> None:
        path = route.request.url.partition("cut.test")[2].partition("?")[0]
        if path.startswith("/static/"):
            file = Path(str(finders.find(path.removeprefix("/static/"))))
            route.fulfill(body=file.read_bytes(), content_type=TYPES[file.suffix])
        else:
            route.fulfill(body=sheet.content.decode(), headers=dict(sheet.headers))

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page(viewport={"width": 360, "height": 740})
        complaints: list[str] = []
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on(
            "console",
            lambda told: complaints.append(told.text) if "Content Security" in told.text else None,
        )
        page.route("**/*", answer)
        page.goto(ADDRESS)
        page.context.set_offline(True)
        yield page
        browser.close()
        assert complaints == []


def said(page: Page) -> str:
    return page.locator("#field-answer").inner_text()


def choose(page: Page, field: str, days: int = 0) -> None:
    day = local_day(timezone.now()) + timedelta(days=days)
    page.locator("[name=happened_at]").last.fill(f"{day}T05:15")
    page.select_option("select[name=field]", label=field)
    page.locator("select[name=field]").dispatch_event("change")


def test_not_free_what_instead_and_as_at_without_the_network(cut: Page) -> None:
    free = day_words(local_day(timezone.now()) + timedelta(days=9))
    choose(cut, "Mill Field")
    assert f"Mill Field is not free to cut before {free}." in said(cut)
    assert "nearest first: Near Field (8 ha, about 12 t), Ox Ground (8 ha)." in said(cut)
    assert "Far Field" not in said(cut)
    assert "As at" in said(cut)
    choose(cut, "Near Field")
    assert said(cut).startswith("Free: Near Field (8 ha, about 12 t).")


def test_the_day_of_the_cut_counts(cut: Page) -> None:
    choose(cut, "Mill Field", days=5)
    assert "Near Field (8 ha, about 12 t), Ox Ground (8 ha), Far Field (8 ha)" in said(cut)
    choose(cut, "Mill Field", days=9)
    assert said(cut).startswith("Free: Mill Field")
    # What was free yesterday the page does not know.
    choose(cut, "Mill Field", days=-1)
    assert cut.locator("#field-answer").is_hidden()


def test_what_a_phone_must_refuse_names_the_nearest(sheet: Any) -> None:
    page = sheet.content.decode()
    refusals = page[page.index("data-refuses=") :]
    assert "Mill Field is not free to cut before" in refusals
    assert "nearest first: Near Field (8 ha, about 12 t, 0.8 km), Ox Ground (8 ha, 3.8" in refusals
