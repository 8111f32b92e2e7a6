"""Writers in Chromium: a phone each, whose queue keeps what is written until the server has it.

What the phone says it keeps is a promise like an acknowledgement: in the end it must be there once.
"""

import random
import shutil
import time
from collections.abc import Iterator
from contextlib import suppress
from typing import Any

from django.conf import settings
from playwright.sync_api import Error, Page, sync_playwright

from tests.browser.screenshots import FLAGS
from tests.drills.book import Book, Person
from tests.drills.ledger import ACKNOWLEDGED, REFUSED, SENT, Ledger
from tests.drills.writers import BAD, Act, Body, Mark, Writer, filled

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
PATIENCE_MS = 8000
SETTLE_SECONDS = 30
NOBODY_KNOWS, WRITTEN = "Nobody knows yet", "Written: "
BY_HAND = {"width": 360, "height": 800}
# What waits on the phone: state and values of each entry's fields.
WAITING = """() => queue.all().then((all) => all.map((one) => [
  one.state, one.fields.map(([, value]) => value), (one.refusal?.words || []).join(" ")]))"""
SAID = """() => document.getElementById("said")?.className || (
  document.querySelector("#errors, main .error") ? "refused" : "")"""
KEPT = """async (path) => {
  for (const name of await caches.keys()) {
    if (name.startsWith("pages-") && await (await caches.open(name)).match(path)) return true;
  }
  return false;
}"""


class Phone(Writer):
    """Somebody with a phone. A subclass says which form it opens and what it types."""

    page: Page
    form = ""
    button = ""

    def __init__(self, who: Person, book: Book, port: int, ledger: Ledger, luck: random.Random):
        super().__init__(who, book, port, ledger, luck)
        self.promised: dict[Mark, Act] = {}
        self.sent_all = False
        self.not_kept = 0

    def run(self) -> None:
        try:
            with sync_playwright() as driver:
                browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
                context = browser.new_context(
                    base_url=f"http://127.0.0.1:{self.port}", viewport=BY_HAND
                )
                context.set_default_timeout(PATIENCE_MS)
                name, url = settings.SESSION_COOKIE_NAME, f"http://127.0.0.1:{self.port}"
                context.add_cookies([{"name": name, "value": self.who.session, "url": url}])
                self.page = context.new_page()
                self.take_along()
                self.begun.set()
                self.work()
                browser.close()
        except Exception as error:  # noqa: BLE001 - told by whoever drills
            self.failed = repr(error)
        finally:
            self.idle.set()

    def path(self) -> str:
        return self.form

    def take_along(self) -> None:
        """Open the form with a network, and wait until the phone keeps it."""
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            with suppress(Error):
                self.page.goto(self.path())
                self.page.wait_for_timeout(500)
                if self.page.evaluate(KEPT, self.path()):
                    return
        raise AssertionError(f"the phone does not keep {self.path()}")

    def work(self) -> None:
        for act in self.acts():
            if self.stopping.is_set():
                break
            if self.paused.is_set():
                self.idle.set()
                self.page.wait_for_timeout(50)
                continue
            self.idle.clear()
            self.enter(act)
            self.look()
            self.page.wait_for_timeout(self.luck.uniform(300, 1500))
        self.idle.set()
        deadline = time.monotonic() + 120
        while self.promised and time.monotonic() < deadline:
            with suppress(Error):
                self.page.goto(self.path())
                self.page.evaluate("queue.send()")
            self.look()
        self.sent_all = not self.promised

    def enter(self, act: Act) -> None:
        """Type an entry and press the button; the phone keeps it, or it is written at once."""
        mark = self.new_mark()
        try:
            self.page.goto(self.path())
            if self.page.evaluate(SAID) or WRITTEN in self.page.inner_text("main"):
                raise Error("not a fresh form")
            for name, value in filled(act.body, mark).items():
                box = self.page.locator(f"form.entry-form [name={name}], main form [name={name}]")
                self.fill(box.last, value)
            button = self.page.get_by_role("button", name=self.button).last
        except Error:
            self.not_kept += 1
            return
        self.ledger.say(mark, SENT, act.kind)
        before = self.page.url
        with suppress(Error):
            button.click()
        self.learn(mark, act, before)

    def fill(self, box: Any, value: str) -> None:
        if box.evaluate("(one) => one.tagName") == "SELECT":
            box.select_option(value)
        else:
            box.fill(value)

    def learn(self, mark: Mark, act: Act, before: str) -> None:
        """Find out what the phone says about an entry."""
        deadline = time.monotonic() + SETTLE_SECONDS
        while time.monotonic() < deadline:
            self.page.wait_for_timeout(60)
            with suppress(Error):
                said = self.page.evaluate(SAID)
                words = self.page.inner_text("main")[:300]
                if self.page.url != before or WRITTEN in words:
                    # It leads to where that is said once it is written.
                    self.ledger.say(mark, ACKNOWLEDGED, act.kind)
                    return
                if NOBODY_KNOWS in words:
                    # Its scripts were cut off, so it was sent as a plain form: the same again.
                    self.page.reload()
                    continue
                if "Kept on this phone: " in words:
                    self.promised[mark] = act
                    return
                if said in ("refused", "error"):
                    self.ledger.say(mark, REFUSED, act.kind, words, strange=act.good)
                    return
        # Neither yes nor no: what is on the phone's disk decides, if it ever got there.
        with suppress(Error):
            if mark in str(self.page.evaluate(WAITING)):
                self.promised[mark] = act

    def look(self) -> None:
        """What is no longer on the phone has been written, unless it is refused there."""
        try:
            waiting = self.page.evaluate(WAITING)
        except Error:
            return
        there = {value: (state, why) for state, values, why in waiting for value in values}
        for mark, act in list(self.promised.items()):
            state, why = there.get(mark, ("", ""))
            if state == "waiting":
                continue
            if state:
                self.ledger.say(mark, REFUSED, act.kind, why, strange=act.good)
            else:
                self.ledger.say(mark, ACKNOWLEDGED, act.kind)
            del self.promised[mark]


class CutsByPhone(Phone):
    """Cuts of grass, written in the field."""

    button = "Cut begins"

    def path(self) -> str:
        return f"/feed/cuts/new/?field={self.book.fields[0]}"

    def acts(self) -> Iterator[Act]:
        for _ in range(10**6):
            body: Body = {"kg": str(self.luck.randrange(4000, 12000)), "remark": "{mark}"}
            yield Act("forage-batches", body)


class DosesByPhone(Phone):
    """Doses, written in the barn; some of no amount, which are refused."""

    form = "/entries/doses/new/"
    button = "Write it"

    def acts(self) -> Iterator[Act]:
        for _ in range(10**6):
            bad = self.luck.randrange(100) < BAD
            body: Body = {
                "course": self.luck.choice(self.book.courses),
                "quantity": "0" if bad else "1",
                "quarter": "LH",
                "batch": "{mark}",
            }
            yield Act("doses", body, good=not bad)
