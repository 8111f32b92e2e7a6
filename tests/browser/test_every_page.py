"""Every page at a phone's and a desk's width, in light and dark, read by axe (WCAG 2.2 AA)."""

import os
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.conftest import AT_A_DESK, BY_HAND, let_in
from tests.browser.estate import furnish as small_estate
from tests.browser.walk import OUTSIDE, Walk, given, walk
from tests.cast import user_in
from tests.factories.frame import one_of_every_kind

pytestmark = pytest.mark.django_db
AXE = str(files("axe_playwright_python") / "axe.min.js")
# Success criteria of WCAG 2.2, levels A and AA (axe names them by the version that brought them).
LEVELS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
LOOK = """async (only) => {
  const found = await axe.run(document, {runOnly: only, resultTypes: ["violations"]});
  return found.violations.map(({id, nodes}) =>
    `${id}: ${nodes.slice(0, 3).map((node) => node.html.slice(0, 160)).join(" | ")}`);
}"""
OURS = Path(__file__).parent / "look.js"
# DESIGN: 48 px to touch. Darker than this a lamp does not blind in the barn (house judgement).
TOUCH, DARK = 48, 0.05


def furnish() -> None:
    """The small estate, and at least one entry of every kind."""
    small_estate()
    one_of_every_kind()


@pytest.fixture(scope="module")
def found(server: str) -> Walk:
    return walk(given(), OUTSIDE)


class Looker:
    """A browser's page that opens pages as each role and says what is wrong with them."""

    def __init__(self, browser: Browser, server: str, pictures: Path | None) -> None:
        self.browser, self.server, self.pictures = browser, server, pictures
        self.pages: dict[str, Page] = {}
        self.wrong: list[str] = []

    def page_of(self, role: str) -> Page:
        if role not in self.pages:
            context = self.browser.new_context(
                base_url=self.server, viewport=BY_HAND, service_workers="block"
            )
            context.add_init_script(path=AXE)
            context.add_init_script(path=OURS)
            let_in(context, user_in(role), self.server)
            self.pages[role] = context.new_page()
        return self.pages[role]

    def look(self, role: str, path: str, *, dark: bool = True) -> None:
        """Open a page, light and dark, narrow and wide, and note what is wrong."""
        page = self.page_of(role)
        page.goto(path)
        self.check(page, path, "light", {"type": "tag", "values": LEVELS})
        self.shoot(page, path, "360")
        self.note(path, page.evaluate("(least) => look.tooSmall(least)", TOUCH))
        self.note(path, page.evaluate("look.unfocused()"))
        page.emulate_media(reduced_motion="reduce")
        self.note(path, page.evaluate("look.restless()"))
        page.emulate_media(reduced_motion="no-preference", color_scheme="dark")
        if page.evaluate("look.ground()") > DARK:
            self.wrong.append(f"{path} has a bright ground in the dark")
        page.emulate_media(color_scheme="light")
        if dark:
            page.emulate_media(color_scheme="dark")
            self.check(page, path, "dark", {"type": "rule", "values": ["color-contrast"]})
            self.shoot(page, path, "360-dark")
            page.emulate_media(color_scheme="light")
        self.fits(page, path, BY_HAND)
        page.set_viewport_size(AT_A_DESK)
        self.fits(page, path, AT_A_DESK)
        self.shoot(page, path, "1280")
        page.set_viewport_size(BY_HAND)

    def check(self, page: Page, path: str, scheme: str, only: Any) -> None:
        self.wrong += [f"{path} ({scheme}): {words}" for words in page.evaluate(LOOK, only)]

    def note(self, path: str, told: list[str]) -> None:
        self.wrong += [f"{path}: {words}" for words in told]

    def fits(self, page: Page, path: str, size: dict[str, int]) -> None:
        needed = page.evaluate("() => document.documentElement.scrollWidth")
        if needed > size["width"]:
            self.wrong.append(f"{path} needs {needed} px of {size['width']}")

    def shoot(self, page: Page, path: str, suffix: str) -> None:
        if self.pictures:
            name = path.strip("/").partition("?")[0].replace("/", "-")[:60] or "today"
            page.screenshot(path=self.pictures / f"{name}-{suffix}.png", full_page=True)


@pytest.fixture(scope="module")
def looker(browser: Browser, server: str) -> Looker:
    """Pictures of every page are kept only where ``SCREENSHOTS`` says where to."""
    folder = os.environ.get("SCREENSHOTS")
    if folder:
        Path(folder).mkdir(parents=True, exist_ok=True)
    return Looker(browser, server, Path(folder) if folder else None)


def test_every_page_opens_for_somebody(found):
    assert not found.broken, "\n".join(found.broken)
    assert len(found.pages) > 150


def test_axe_finds_nothing_on_any_page(found, looker):
    looker.look("vet", "/nowhere/")
    for name, role, path in found.pages:
        # Forms of the kinds are made by one template; the light is enough for most.
        looker.look(role, path, dark=name != "kind-new")
    assert not looker.wrong, "\n".join(looker.wrong)
