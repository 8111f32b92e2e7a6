"""A real server, a real Chromium, and the line between them, which can break."""

import os
import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import connection
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright
from pytest_django.live_server_helper import LiveServer

from config.roles import SYSTEM_USER
from tests.browser.screenshots import FLAGS

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
HOW_TO_GET_ONE = "no Chromium on the path; on Debian: apt-get install chromium"
BY_HAND = {"width": 360, "height": 800}
AT_A_DESK = {"width": 1280, "height": 900}


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Without a Chromium these tests are skipped; where it must be there (CI=true) they fail."""
    if Path(__file__).parent not in item.path.parents or CHROMIUM:
        return
    if os.environ.get("CI", "").lower() in ("1", "true", "yes"):
        pytest.fail(HOW_TO_GET_ONE)
    pytest.skip(HOW_TO_GET_ONE)


class Line:
    """The line between the phones and the server: a port that may be ``up``, ``down`` or lossy.

    ``losing``: what is sent with POST arrives, and its answer is lost on the way back.
    """

    def __init__(self, host: str, port: int) -> None:
        self.server = (host, port)
        self.state = "up"
        self.open: set[socket.socket] = set()
        self.ear = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self.ear.getsockname()[1]}"
        threading.Thread(target=self.listen, daemon=True).start()

    def listen(self) -> None:
        with suppress(OSError):
            while True:
                phone, _ = self.ear.accept()
                if self.state == "down":
                    phone.close()
                    continue
                threading.Thread(target=self.carry, args=(phone,), daemon=True).start()

    def carry(self, phone: socket.socket) -> None:
        """One connection: what the phone says goes to the server, and back."""
        with suppress(OSError), phone, socket.create_connection(self.server) as server:
            pair = {phone, server}
            self.open |= pair
            lost = threading.Event()
            back = threading.Thread(target=self.bring_back, args=(server, phone, lost), daemon=True)
            back.start()
            while said := phone.recv(65536):
                if self.state == "losing" and said.startswith(b"POST "):
                    lost.set()
                server.sendall(said)
            with suppress(OSError):
                server.shutdown(socket.SHUT_WR)
            back.join(10)
            self.open -= pair

    def bring_back(
        self, server: socket.socket, phone: socket.socket, lost: threading.Event
    ) -> None:
        with suppress(OSError):
            while answer := server.recv(65536):
                if lost.is_set():
                    break
                phone.sendall(answer)
        with suppress(OSError):
            phone.shutdown(socket.SHUT_RDWR)

    def go(self, state: str) -> None:
        """Let the line be ``up``, ``down`` or ``losing``; going down cuts what is open."""
        self.state = state
        if state == "down":
            for end in list(self.open):
                with suppress(OSError):
                    end.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        self.go("down")
        self.ear.close()


@pytest.fixture
def _django_db_helper(request: pytest.FixtureRequest) -> None:
    """No transaction around a test with a real server: what it writes must be seen there."""
    if "server" not in request.fixturenames:
        request.getfixturevalue("_django_db_helper")


def hang_up() -> None:
    """End what other connections to this database are left: a request nobody waits for any more."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
            "WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )


@pytest.fixture(scope="session")
def alone_at_the_end(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    """Nobody else reads the database when it is taken down, which would be refused."""
    yield
    with django_db_blocker.unblock():
        hang_up()


@pytest.fixture(scope="module")
def server(
    request: pytest.FixtureRequest, alone_at_the_end: None, django_db_blocker: Any
) -> Iterator[str]:
    """The site with what the module's ``furnish()`` writes; its address. Emptied afterwards."""
    patch = pytest.MonkeyPatch()
    # Playwright runs a loop in this thread; these tests read the book beside it.
    patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    with django_db_blocker.unblock():
        assert connection.settings_dict["NAME"] == settings.DATABASES["default"]["TEST"]["NAME"]
        if User.objects.exclude(username=SYSTEM_USER).exists():
            # What a run that was stopped half-way has left behind.
            call_command("flush", verbosity=0, interactive=False)
        request.module.furnish()
        live = LiveServer("127.0.0.1")
        live._live_server_modified_settings.enable()
        try:
            yield live.url
        finally:
            live.stop()
            hang_up()
            live._live_server_modified_settings.disable()
            call_command("flush", verbosity=0, interactive=False)
            patch.undo()


@pytest.fixture(scope="module")
def browser(server: str) -> Iterator[Browser]:
    """A Chromium; closed before the server is, whose end must not fall into Playwright's loop."""
    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield started
        # Inside the loop Django keeps another connection than outside of it.
        connection.close()
        started.close()


@pytest.fixture(scope="module")
def line(server: str) -> Iterator[Line]:
    host, port = server.removeprefix("http://").split(":")
    made = Line(host, int(port))
    yield made
    made.close()


@pytest.fixture
def pictures(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """Where screenshots are kept: ``SCREENSHOTS`` in the environment, else a folder of the test."""
    folder = Path(os.environ.get("SCREENSHOTS", tmp_path))
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def let_in(context: BrowserContext, user: User, url: str) -> None:
    """Sign a user in, as the login page does, without its second of hashing."""
    client = Client()
    client.force_login(user)
    session = client.cookies[settings.SESSION_COOKIE_NAME]
    context.add_cookies([{"name": session.key, "value": session.value, "url": url}])


def until(page: Page, true: str, arg: Any = None, seconds: float = 15) -> None:
    """Wait until a function of the page says true. (Playwright's own way needs ``eval``.)"""
    end = time.monotonic() + seconds
    while not page.evaluate(true, arg):
        assert time.monotonic() < end, f"{true} stayed false for {seconds} s on {page.url}"
        page.wait_for_timeout(50)


NOTHING_WAITS = "() => queue.all().then((all) => all.length === 0)"
# One try may meet what is left of a line that was cut; a phone tries again by itself, within this.
TRIED_AGAIN = 45.0
SENT_ALL = """(refused) => queue.send().then(queue.all).then(
  (all) => all.length === refused && all.every((one) => one.state === "refused"))"""
IS_KEPT = """async (path) => {
  for (const name of await caches.keys()) {
    if (name.startsWith("pages-") && await (await caches.open(name)).match(path)) return true;
  }
  return false;
}"""


class Phone:
    """A phone of somebody: a browser of its own, its pages, and what it complained about."""

    def __init__(self, browser: Browser, line: Line, user: User, **options: Any) -> None:
        self.line = line
        self.context = browser.new_context(base_url=line.url, viewport=BY_HAND, **options)
        self.context.set_default_timeout(15_000)
        let_in(self.context, user, line.url)
        self.complaints: list[str] = []
        self.page = self.new_page()

    def new_page(self) -> Page:
        page = self.context.new_page()
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("console", self.hear)
        return page

    def hear(self, message: Any) -> None:
        # What the network does is what these tests are about.
        network = ("Failed to load resource", "htmx:")
        if message.type == "error" and not message.text.startswith(network):
            self.complaints.append(message.text)

    def visit(self, *paths: str) -> "Phone":
        """Open pages with a network, and wait until the phone keeps them."""
        for path in paths:
            self.page.goto(path)
            until(self.page, IS_KEPT, path)
        until(self.page, "() => navigator.serviceWorker.controller !== null")
        return self

    def press(self, words: str) -> None:
        """Press a button and wait until the phone has kept the entry."""
        self.page.get_by_role("button", name=words).first.click()
        self.page.wait_for_selector("#said:has-text('Kept on this phone: ')")

    def waiting(self) -> int:
        """How many entries wait on the phone."""
        count: int = self.page.evaluate("queue.all().then((all) => all.length)")
        return count

    def sends(self) -> None:
        """Try once to send what waits."""
        self.page.evaluate("queue.send()")

    def sends_all(self, *, refused: int = 0) -> None:
        """The network is back: send until nothing waits but so many that were refused."""
        until(self.page, SENT_ALL, refused)


@pytest.fixture
def phone(browser: Browser, line: Line) -> Iterator[Callable[..., Phone]]:
    """Makes phones; afterwards the line is up, and no page complained."""
    made: list[Phone] = []

    def make(user: User, **options: Any) -> Phone:
        made.append(Phone(browser, line, user, **options))
        return made[-1]

    yield make
    line.go("up")
    for one in made:
        one.context.close()
    assert [words for one in made for words in one.complaints] == []
