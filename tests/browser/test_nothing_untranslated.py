"""Nothing on a page stands in English only, whoever opens it.

Every page of every role is made in a language in which each translated message is said within «…».
What is seen outside of them must be of the book (a name, a remark), a figure or a unit. What was
said stands in German (tests/config/test_catalogues.py); on the pages of the milker, the stockman
and the feed hand it must stand in the catalogue of each language.
"""

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any

import pytest
from babel.messages.pofile import read_po
from django.apps import apps
from django.conf import settings
from django.db import models
from django.test import Client
from django.utils.module_loading import autodiscover_modules
from django.utils.translation.trans_real import CONTEXT_SEPARATOR, DjangoTranslation

from config.day_sheet import SHEETS
from config.kinds import all_kinds
from config.language import STANDARD
from config.management.commands.messages import path_of, said
from config.roles import FEED_HAND, LABORATORY, MILKER, ROLES, STOCKMAN, may
from tests.browser.test_every_page import furnish
from tests.browser.walk import OUTSIDE, addresses, given, kinds_addresses
from tests.cast import user_in

pytestmark = pytest.mark.django_db
# Words that are the same in every language: units, names of the book itself, of forms of files.
SAME = {
    *("kg", "min", "ha", "mg", "µg", "mmol", "ml", "dl", "EUR", "MJ", "UTC", "Swardline"),
    *("CSV", "PDF", "UUID", "SHA", "NDF", "CMT", "LF", "RF", "LH", "RH"),
    *(word for _, name in settings.LANGUAGES for word in name.split()),
}
SAID = ("aria-label", "placeholder", "title", "alt", "data-label")
UNSEEN = ("script", "style", "head")
WORD = re.compile(r"[^\W\d_]{2,}")
# Names of entries, and keys and sums in groups of four.
NUMBER = re.compile(
    r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}|\b[0-9a-z]{4}(?: [0-9a-z]{4}){7,}"
)


class Seen(HTMLParser):
    """The texts of a page that people see or hear."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.hidden: list[str] = []
        self.depth = 0

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        if tag in UNSEEN:
            self.hidden.append(tag)
        self.texts += [unwrapped(value)[0] for name, value in attrs if name in SAID and value]

    def handle_endtag(self, tag: str) -> None:
        if self.hidden and self.hidden[-1] == tag:
            self.hidden.pop()

    def handle_data(self, data: str) -> None:
        # A translated message may hold tags (a unit), so that it goes on in the next text.
        if not self.hidden:
            left, self.depth = unwrapped(data, self.depth)
            self.texts.append(left)


class Wrapping:
    """Messages said within «…», and which were."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.said: set[str] = set()
        # What says words while it is imported says them as they are, for the tests after this one.
        autodiscover_modules("loads")
        monkeypatch.setattr(DjangoTranslation, "gettext", lambda _, text: self.one(text))
        monkeypatch.setattr(DjangoTranslation, "ngettext", self.of_number)

    def one(self, message: str, shown: str = "") -> str:
        self.said.add(message)
        return f"«{shown or message.rpartition(CONTEXT_SEPARATOR)[2]}»" if message else ""

    def of_number(self, one: str, many: str, number: int) -> str:
        return self.one(one, one if number == 1 else many)

    def left_out(self, language: str) -> list[str]:
        """Which of our own messages that were said a language has no translation of."""
        bare = []
        for app in OWN_CATALOGUES:
            with path_of(app, language).open("rb") as file:
                bare += [found.id for found in read_po(file) if found.id and not said(found)]
        firsts = {text if isinstance(text, str) else text[0] for text in bare}
        return sorted(firsts & self.said)


def unwrapped(text: str, depth: int = 0) -> tuple[str, int]:
    """What of a text is not within «…», however deep; and how deep it ends."""
    left = []
    for sign in text:
        depth += sign == "«"
        left.append(sign if depth == 0 else " ")
        depth -= sign == "»"
    return "".join(left), depth


def book_values() -> list[str]:
    """Everything that is written in the book, the longest first."""
    found: set[str] = set()
    for model in apps.get_models():
        for column in model._meta.concrete_fields:
            if isinstance(column, models.CharField | models.TextField) and not column.choices:
                found.update(model._default_manager.values_list(column.attname, flat=True))
    plain = {value.casefold() for value in found if value and len(value) > 1}
    return sorted(plain, key=len, reverse=True)


def bare(html: str, known: list[str]) -> Iterator[str]:
    """The texts of a page with words that are neither translated nor of the book."""
    page = Seen()
    page.feed(html)
    for text in page.texts:
        left = NUMBER.sub(" ", text.casefold())
        for value in known if WORD.search(left) else ():
            left = left.replace(value, " ")
        if {*WORD.findall(left)} - {word.casefold() for word in SAME}:
            yield " ".join(text.split())


def pages_of(role: str) -> dict[str, bool]:
    """The pages that a role opens and the forms of what it writes: whether in every language."""
    user = user_in(role)
    kinds = {kind.slug: kind.app for kind in all_kinds() if may(user, f"write:{kind.slug}")}
    plain = [path for name, path in addresses(given()) if path and name not in OUTSIDE]
    forms = {path: kinds.get(path.split("/")[2]) for _, path in kinds_addresses()}
    return {path: not path.startswith(NOT_THEIRS) for path in plain} | {
        path: app in OWN for path, app in forms.items() if app
    }


# Who reads the book in every language, on which pages; everybody else in two.
THEIRS = (MILKER, STOCKMAN, FEED_HAND)
OWN = ("herd", "feed")
OWN_CATALOGUES = ("config", "herd", "feed")
NOT_THEIRS = (
    *("/milk/", "/uploads/", "/01/", "/roles/", "/entries/", "/running/", "/seals/"),
    "/account/tokens/",
    *(f"/today/{role.replace(' ', '-')}/" for role in SHEETS if role not in THEIRS),
)


# A laboratory sends results in and opens no page.
@pytest.mark.parametrize("role", [role for role in ROLES if role != LABORATORY])
def test_nothing_on_the_pages_of_a_role_is_left_untranslated(role, monkeypatch):
    furnish()
    client = Client()
    client.force_login(user_in(role))
    paths = pages_of(role)
    wrapping = Wrapping(monkeypatch)
    client.cookies[settings.LANGUAGE_COOKIE_NAME] = "it"
    known, found, opened, theirs = book_values(), {}, 0, set[str]()
    for path, is_theirs in paths.items():
        answer = client.get(path)
        if answer.status_code == 200 and answer["Content-Type"].startswith("text/html"):
            opened += 1
            left = [*bare(answer.content.decode(), known)]
            if left:
                found[path] = left
        if is_theirs:
            theirs |= wrapping.said
        wrapping.said.clear()
    assert opened > 20
    assert not found, "\n".join(f"{path}: {left}" for path, left in found.items())
    wrapping.said = theirs
    for language, _ in settings.LANGUAGES if role in THEIRS else ():
        if language != STANDARD:
            left = wrapping.left_out(language)
            assert not left, f"{language}: {left}"
