"""From an empty book to a right withheld list and wall, as the vet walks it; touches counted."""

import re
from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page

from herd.models import Dose, WithdrawalPeriod
from herd.withheld import withheld_list
from tests.browser.conftest import BY_HAND, let_in
from tests.cast import user_in

pytestmark = pytest.mark.django_db

HERD = """farm number;ear tag;sex;born;group
1042;999000000001042;F;01.02.2020;5
1043;999000000001043;F;02.02.2020;5
1044;999000000001044;F;03.02.2020;5
"""
# JOB of a newcomer: ten minutes. A touch with what goes with it (looking, thinking, waiting) takes
# some three seconds on a phone, a letter a third of one (keystroke-level model, from memory).
SECONDS_A_TOUCH, SECONDS_A_LETTER, TEN_MINUTES = 3, 0.35, 600


def furnish() -> None:
    """Nothing but somebody who may sign in."""
    user_in("vet")


class Walker:
    """Somebody with a phone: presses, types and chooses, and counts it."""

    def __init__(self, page: Page) -> None:
        self.page, self.touches, self.letters = page, 0, 0

    def press(self, words: str, *, link: bool = False) -> None:
        self.touches += 1
        found = self.page.get_by_role("link" if link else "button", name=words)
        found.first.click()
        self.page.wait_for_load_state()

    def type(self, label: str, words: str) -> None:
        self.touches += 1
        self.letters += len(words)
        self.page.get_by_label(label).first.fill(words)

    def choose(self, label: str, words: str) -> None:
        self.touches += 2
        self.page.get_by_label(label).first.select_option(label=words)

    def tick(self, label: str) -> None:
        self.touches += 1
        self.page.get_by_label(label).first.check()

    def to_first_day(self) -> None:
        self.touches += 1
        self.page.goto("/first-day/")

    def words(self) -> str:
        return self.page.inner_text("main")

    @property
    def seconds(self) -> float:
        return SECONDS_A_TOUCH * self.touches + SECONDS_A_LETTER * self.letters


def group(walker: Walker) -> None:
    """One group."""
    walker.to_first_day()
    walker.press("Write a group", link=True)
    walker.type("Number", "5")
    walker.press("Write it")


def times(walker: Walker) -> None:
    """It is milked twice a day."""
    for session, starts in (("morning", "04:30"), ("evening", "16:30")):
        walker.to_first_day()
        walker.press("Write a milking time", link=True)
        walker.type("Group", "5")
        walker.choose("Session", session)
        walker.type("Planned start", starts)
        walker.type("Valid from", str(timezone.localdate() - timedelta(days=30)))
        walker.type("Line", "A")
        walker.press("Write it")


def herd(walker: Walker, file: Path) -> None:
    """The herd list, looked at and taken."""
    walker.to_first_day()
    walker.press("Take in the herd list", link=True)
    walker.touches += 2
    walker.page.set_input_files("input[type=file]", file)
    walker.press("Look at it")
    walker.press("Take it")


def cupboard(walker: Walker) -> None:
    """One medicine with its leaflet."""
    walker.to_first_day()
    walker.press("Write a medicine", link=True)
    walker.type("Name", "Tube A")
    walker.press("Write it")


def leaflet(walker: Walker) -> None:
    """What the leaflet says."""
    walker.to_first_day()
    walker.press("Write a leaflet", link=True)
    walker.choose("Medicine", "Tube A")
    walker.type("Valid from", "2026-01-01")
    walker.type("Milk withheld", "84")
    walker.type("Meat withheld", "10")
    walker.type("Where this is printed", "leaflet in the box")
    walker.press("Write it")


def treated(walker: Walker) -> None:
    """The cow with the band: what she got, the first dose this morning."""
    walker.type("Find", "1043")
    walker.press("Find")
    walker.press("1043", link=True)
    walker.press("Treat", link=True)
    walker.tick("The first dose is given")
    walker.choose("Medicine", "Tube A")
    walker.type("Diagnosis", "mastitis")
    walker.choose("Route", "into the udder")
    walker.type("Amount of one dose", "1")
    walker.type("Number of doses", "3")
    walker.type("Hours between doses", "12")
    walker.press("Write the course")


def screen(walker: Walker) -> str:
    """A screen for the wall; the address of its link."""
    walker.to_first_day()
    walker.press("Hang up a screen", link=True)
    walker.type("Where it hangs", "pit")
    walker.choose("Whose list it shows", "group 5")
    walker.press("Make the link")
    found = re.search(r"/herd/wall/hung/[-a-z0-9]+/", walker.words())
    assert found
    return found.group()


def test_the_vet_walks_from_an_empty_book_to_a_right_list(
    browser: Browser, server: str, tmp_path: Path, pictures: Path
) -> None:
    context = browser.new_context(base_url=server, viewport=BY_HAND)
    let_in(context, user_in("vet"), server)
    walker = Walker(context.new_page())
    file = tmp_path / "herd.csv"
    file.write_text(HERD)
    walker.page.goto("/")
    walker.press("The book is empty", link=True)
    walker.press("Write the rules every estate starts with")
    group(walker)
    times(walker)
    herd(walker, file)
    cupboard(walker)
    leaflet(walker)
    treated(walker)
    secret = screen(walker)
    walker.to_first_day()
    assert "The book holds what the withheld list needs." not in walker.words()
    look = browser.new_context(base_url=server).new_page()
    look.goto(secret)
    assert "1043" in look.inner_text("#wall")
    assert "2 TANK" in look.inner_text("#wall")
    walker.page.goto("/first-day/")
    assert "The book holds what the withheld list needs." in walker.words()
    walker.page.screenshot(path=pictures / "first-day-done-360.png", full_page=True)
    words = {one.name: one.word for one in withheld_list(timezone.now())}
    assert words == {"1042": "TANK", "1043": "NOT", "1044": "TANK"}
    (out,) = WithdrawalPeriod.objects.all()
    # Three tubes 12 h apart from this minute on, and 84 h after the last: counted by hand.
    first = Dose.objects.get().happened_at
    assert out.during.upper == first + timedelta(hours=24 + 84)
    assert walker.seconds < TEN_MINUTES, (walker.touches, walker.letters)
    context.close()
