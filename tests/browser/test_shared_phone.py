"""A phone that several people use, in a real browser: bound, a PIN each, also without a network."""

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from django.contrib.auth.hashers import make_password
from django.utils import timezone

from config.access.phones import make_link, withdraw
from config.models import Pin, SharedPhone
from herd.models import HealthEvent
from tests.browser.conftest import IS_KEPT, NOTHING_WAITS, TRIED_AGAIN, Line, until
from tests.browser.estate import by, furnish

__all__ = ["furnish"]
pytestmark = pytest.mark.django_db
NEW_SIGN = "/entries/health-events/new/"
PINS = {"stockman": "4071", "milker": "90210"}


@pytest.fixture
def shared(browser: Any, line: Line) -> Any:
    """A browser that no one is signed in on, and two people with a PIN."""
    for role, pin in PINS.items():
        Pin.objects.update_or_create(user=by(role), defaults={"scrambled": make_password(pin)})
    context = browser.new_context(base_url=line.url, viewport={"width": 360, "height": 800})
    context.set_default_timeout(15_000)
    yield context.new_page()
    line.go("up")
    context.close()


def sign_in(page: Any, role: str) -> None:
    page.goto("/login/")
    page.get_by_role("radio", name=str(by(role))).check()
    page.fill("#id_pin", PINS[role])
    page.locator("form.who button[type=submit]").click()
    page.wait_for_selector("text=Signed in as")


def write_sign(page: Any, sign: str) -> None:
    page.fill("[name=animal]", "1042")
    page.fill("[name=sign]", sign)
    page.get_by_role("button", name="Write it").first.click()


def test_two_people_write_on_one_phone_each_in_their_name(shared, line, pictures):
    page = shared
    _, secret = make_link(name="parlour, red", by=by("vet"), at=timezone.now())
    page.goto(f"/phones/bind/{secret}/")
    page.screenshot(path=pictures / "phone-bind-360.png")
    page.get_by_role("button", name="Yes, share this phone").click()
    page.wait_for_selector("text=Who are you?")
    page.screenshot(path=pictures / "phone-who-360.png", full_page=True)
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()

    sign_in(page, "stockman")
    page.goto(NEW_SIGN)
    until(page, IS_KEPT, NEW_SIGN)
    until(page, "() => navigator.serviceWorker.controller !== null")
    line.go("down")
    page.goto(NEW_SIGN)
    assert "No network. This page is as at" in page.inner_text("#kept-words")
    write_sign(page, "off feed")
    page.wait_for_selector("#said:has-text('Kept on this phone: ')")
    line.go("up")

    # The next person takes the phone before it has sent: the entry waits for its writer.
    page.goto("/login/")
    if page.get_by_role("button", name="Sign out").count():
        page.get_by_role("button", name="Sign out").click()
        page.wait_for_selector("text=Who are you?")
    sign_in(page, "milker")
    until(page, f"async (path) => !(await ({IS_KEPT.strip()})(path))", NEW_SIGN)
    sent = HealthEvent.objects.filter(sign="off feed")
    if not sent.exists():
        page.get_by_role("button", name="Sign out").click()
        # Asked for the next page at once, the browser would give up signing out.
        page.wait_for_selector("text=Who are you?")
        sign_in(page, "stockman")
        page.evaluate("queue.send()")
        until(page, NOTHING_WAITS, seconds=TRIED_AGAIN)
    assert [str(one.by) for one in sent] == [str(by("stockman"))]
    assert sent.get().device.startswith("phone ")

    withdraw(SharedPhone.objects.get(), by=by("vet"), at=timezone.now())
    page.goto("/herd/walk/")
    assert page.url.endswith("/login/?next=/herd/walk/")
    assert page.get_by_text("Who are you?").count() == 0
