"""One-time codes in a real browser: an app reads the picture, codes sign in; keyboard and axe."""

from io import BytesIO
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pyotp
import pytest
import zxingcpp
from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from PIL import Image

from tests.browser.conftest import let_in
from tests.browser.estate import by, furnish

__all__ = ["furnish"]
pytestmark = pytest.mark.django_db
WORD = "a long enough word 77"
BEHIND_A_PASSWORD = ("/account/code/", "/account/code/recovery/", "/account/code/end/", "/account/")


def clean(page: Any) -> None:
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_an_app_reads_the_picture_and_signs_in(browser, server, pictures, scheme):
    vet = by("vet")
    vet.set_password(WORD)
    vet.save()
    context = browser.new_context(
        base_url=server, viewport={"width": 360, "height": 800}, color_scheme=scheme
    )
    try:
        let_in(context, vet, server)
        page = context.new_page()
        page.goto("/account/code/")
        clean(page)
        page.screenshot(path=pictures / f"code-new-360-{scheme}.png", full_page=True)
        picture = Image.open(BytesIO(page.locator(".qr").screenshot()))
        address = zxingcpp.read_barcode(picture).text
        # The letters say what the picture says.
        secret = parse_qs(urlsplit(address).query)["secret"][0]
        assert page.locator(".secret code").inner_text().replace(" ", "") == secret
        app = pyotp.parse_uri(address)
        page.fill("#id_code", app.now())
        page.fill("#id_password", WORD)
        page.keyboard.press("Enter")
        page.wait_for_selector("text=Your recovery codes")
        clean(page)
        page.screenshot(path=pictures / f"recovery-360-{scheme}.png", full_page=True)
        recovery = page.locator(".codes code").all_inner_texts()
        assert len(recovery) == 10
        for path in BEHIND_A_PASSWORD:
            page.goto(path)
            clean(page)
        page.screenshot(path=pictures / f"account-360-{scheme}.png", full_page=True)

        page.get_by_role("button", name="Sign out").last.click()
        page.wait_for_url("**/login/")
        page.fill("#id_username", vet.username)
        page.fill("#id_password", WORD)
        page.keyboard.press("Enter")
        page.wait_for_selector("text=And the code of your app")
        clean(page)
        page.screenshot(path=pictures / f"login-code-360-{scheme}.png", full_page=True)
        # The code it was set up with is used up; a recovery code opens, by keyboard alone.
        page.keyboard.type(recovery[0])
        page.keyboard.press("Enter")
        page.wait_for_selector("text=Signed in as")
        page.goto("/account/code/end/")
        page.fill("#id_password", WORD)
        page.keyboard.press("Enter")
        page.wait_for_selector("text=Your one-time codes are ended.")
    finally:
        context.close()
