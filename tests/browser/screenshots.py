"""Pictures of pages from a running demo: ``python -m tests.browser.screenshots [--all] [FOLDER]``.

Needs the demo on ``BASE_URL`` (default http://127.0.0.1:8000) and a Chromium on the path. Without
``--all`` it makes the pictures of README; with it every page in the list, at phone and desk width,
in light and dark.
"""

import argparse
import os
import shutil
import sys
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

BASE_URL = os.environ.get("BASE_URL", "http://127.0.0.1:8000")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
WIDTHS = {360: 800, 1280: 900}
SCHEMES = ("light", "dark")
README = {"withheld": "/herd/withheld/", "board": "/feed/board/", "trace": ""}
PAGES = {
    "today": "/",
    "herd": "/herd/",
    "entries": "/entries/",
    "roles": "/roles/",
    "lots": "/milk/lots/",
    "tanks": "/milk/tanks/",
    "vats": "/milk/vats/",
    "pour": "/milk/pour/",
    "starter": "/milk/starter/",
    "wheels-today": "/milk/wheels/today/",
    "plates": "/milk/plates/",
    "vat-sheet": "/milk/vat-sheet/",
    "holds": "/milk/holds/",
    "doses": "/entries/doses/",
    "new-dose": "/entries/doses/new/",
    "new-feeding": "/entries/feedings/new/",
    "new-milking": "/entries/milkings/new/",
    "walk": "/herd/walk/",
    "walls": "/herd/wall/",
    "wall": "/herd/wall/5/",
    "unknown-cows": "/herd/unknown/",
    "breeding": "/herd/breeding/",
    "checks": "/herd/breeding/checks/",
    "calving": "/herd/calving/",
    "move": "/herd/move/",
    "arrive": "/herd/arrive/",
    "medicine-book": "/herd/medicine-book/",
    "cupboard": "/herd/cupboard/",
    "antimicrobials": "/herd/antimicrobials/",
    "udder": "/herd/udder/",
    "what-if": "/herd/udder/what-if/",
    "fields": "/feed/fields/",
    "ration": "/feed/ration/",
    "ration-week": "/feed/ration/week/",
    "ration-year": "/feed/ration/year/",
    "tomorrow": "/feed/tomorrow/",
    "feed-papers": "/feed/papers/",
    "cut": "/feed/cuts/new/",
    "feed": "/feed/feedings/new/",
    "quality": "/milk/quality/",
    "cells": "/milk/cells/",
    "after-feed": "/milk/after-feed/",
    "wrong-cow": "/milk/wrong-cow/",
    "balance": "/milk/balance/",
}
# Pages of one thing, reached by the first link of a list whose address begins so.
FIRST_LINKS = {
    "animal": ("/herd/withheld/", "/herd/animals/"),
    "batch": ("/feed/board/", "/feed/batches/"),
    "lot": ("/milk/lots/", "/milk/lots/"),
    "vat": ("/milk/vats/", "/milk/vats/"),
    "hold": ("/milk/holds/", "/milk/holds/"),
    "dose": ("/entries/doses/", "/entries/doses/"),
    "field": ("/feed/fields/", "/feed/fields/"),
    "late": ("/milk/holds/", "/milk/late/"),
}
PLATE = "0004711"


def sign_in(page: Page, user: str, word: str) -> None:
    page.goto(f"{BASE_URL}/login/")
    page.fill("input[name=username]", user)
    page.fill("input[name=password]", word)
    page.click("main button[type=submit]")


def first_link(page: Page, listed: str, prefix: str) -> str:
    """The address of the first link below ``prefix`` on a list page, or "" when there is none."""
    page.goto(BASE_URL + listed)
    links: list[str] = page.eval_on_selector_all(
        "main a", "all => all.map(one => one.getAttribute('href'))"
    )
    own = (
        link for link in links if link and link.startswith(prefix) and len(link) > len(prefix) + 30
    )
    return next((link for link in own if "?" not in link), "")


def addresses(page: Page, *, every: bool) -> dict[str, str]:
    wanted = {**README, "trace": f"/milk/trace/back/wheel/{PLATE}/"}
    if not every:
        return wanted
    single = {name: first_link(page, *where) for name, where in FIRST_LINKS.items()}
    return {
        **wanted,
        **PAGES,
        "wheel": f"/find/?q={PLATE}",
        **{k: v for k, v in single.items() if v},
    }


def shoot(browser: Browser, folder: Path, *, every: bool, user: str, word: str) -> int:
    """Save one picture a page, width and scheme; returns how many pages overflowed their width."""
    wide = 0
    schemes = SCHEMES if every else ("light",)
    widths = WIDTHS if every else {1280: 900}
    for scheme in schemes:
        for width, height in widths.items():
            page = browser.new_page(
                viewport={"width": width, "height": height},
                color_scheme="dark" if scheme == "dark" else "light",
            )
            sign_in(page, user, word)
            for name, address in addresses(page, every=every).items():
                page.goto(BASE_URL + address)
                page.wait_for_load_state("networkidle")
                suffix = "" if scheme == "light" else "-dark"
                page.screenshot(path=folder / f"{name}-{width}{suffix}.png", full_page=every)
                needed = page.evaluate("document.documentElement.scrollWidth")
                if needed > width:
                    wide += 1
                    sys.stderr.write(f"{address} needs {needed} px of {width}\n")
            page.close()
    return wide


def main() -> int:
    parser = argparse.ArgumentParser(description="Pictures of the demo's pages")
    parser.add_argument("folder", nargs="?", type=Path, default=Path("fixtures/screenshots"))
    parser.add_argument(
        "--all", action="store_true", help="every page, phone and desk, light and dark"
    )
    parser.add_argument("--user", default="vet")
    parser.add_argument("--word", default="larkfold")
    options = parser.parse_args()
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        sys.stderr.write("No Chromium on the path. On Debian: apt-get install chromium\n")
        return 1
    options.folder.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=FLAGS)
        return shoot(
            browser, options.folder, every=options.all, user=options.user, word=options.word
        )


if __name__ == "__main__":
    raise SystemExit(main())
