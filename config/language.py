"""Languages: the reader's for what is said, the estate's for what is stored, English for machines.

A page speaks the language its reader chose (a cookie), else the first that the browser asks for and
the book knows, else the estate's. Words that are stored (notices, reasons of a period, a hold's
words) are the same whoever's act stores them: they are written in the estate's language. The API
and table files keep the standard form: days as 2026-06-09, decimal points, English heads.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache, lru_cache, wraps
from typing import Any, TypeVar

from django.conf import settings
from django.http import HttpRequest
from django.middleware.locale import LocaleMiddleware
from django.utils import translation
from django.utils.cache import patch_vary_headers
from django.utils.formats import get_format
from django.utils.translation import gettext as _
from django.utils.translation import trans_real

Made = TypeVar("Made")

# Pages for anybody, which caches share: what the codes on labels lead to.
SHARED = "/01/"
MACHINES = "/api/"
STANDARD = "en-gb"
# Words kept as translated, for each language; the book marks about 6,000.
WORDS_KEPT = 20_000


@contextmanager
def in_estate_language() -> Iterator[None]:
    """For a block or, as a decorator, a function that stores words: the estate's language."""
    with translation.override(settings.LANGUAGE_CODE):
        yield


def keep_words() -> None:
    """Keep what each word is in each language; to be called once, when the process is to serve.

    Django looks into as many as twenty catalogues, one after the other, whenever a word is said.
    """
    for code, _name in settings.LANGUAGES:
        catalogue = trans_real.translation(code)
        if not hasattr(catalogue.gettext, "cache_info"):
            setattr(catalogue, "gettext", lru_cache(WORDS_KEPT)(catalogue.gettext))  # noqa: B010


def language_now() -> str:
    """The code of the language that holds, as in ``<html lang>`` ("de", "en-gb")."""
    return translation.get_language() or settings.LANGUAGE_CODE


def once_a_language(make: Callable[[], Made]) -> Callable[[], Made]:
    """What is made once for each language: a form has its labels said when it is made."""
    made: dict[str, Made] = {}

    @wraps(make)
    def asked() -> Made:
        language = language_now()
        if language not in made:
            made[language] = make()
        return made[language]

    return asked


def in_a_sentence(name: str) -> str:
    """A name inside a sentence: with a small letter, except where nouns keep their capital."""
    return name if language_now() == "de" else name.lower()


def without_noun(text: str, noun: str) -> str:
    """What people call a thing without its noun before it, English or the reader's: "vat 3" → "3".

    ``noun``: marked, as "vat".
    """
    said = text.strip()
    for word in (noun, _(noun)):
        if said.casefold().startswith(f"{word} ".casefold()):
            return said[len(word) :].strip()
    return said


def in_readers_form(figures: str) -> str:
    """Figures with a decimal point and commas between thousands, as the reader writes them."""
    return figures.translate(signs_in(translation.get_language()))


@cache
def signs_in(language: str | None) -> dict[int, str]:
    """What stands for the point and the comma of figures in a language; a page asks hundreds."""
    signs = {".": "DECIMAL_SEPARATOR", ",": "THOUSAND_SEPARATOR"}
    return {ord(sign): get_format(name, lang=language) for sign, name in signs.items()}


def is_for_machines(request: HttpRequest) -> bool:
    """Whether a program reads the answer: the API, or a table file."""
    return request.path.startswith(MACHINES) or request.GET.get("as") == "csv"


class ReadersLanguage(LocaleMiddleware):
    """Middleware: Django's, and caches are told that the answer hangs on the reader's choice.

    A shared page goes by what the browser asks for alone, so that a cache can tell by its headers.
    """

    def process_request(self, request: HttpRequest) -> None:
        if request.path.startswith(SHARED):
            request.COOKIES.pop(settings.LANGUAGE_COOKIE_NAME, None)
        super().process_request(request)
        if is_for_machines(request):
            translation.activate(STANDARD)
            request.LANGUAGE_CODE = STANDARD

    def process_response(self, request: HttpRequest, response: Any) -> Any:
        answer = super().process_response(request, response)
        if not request.path.startswith(SHARED):
            patch_vary_headers(answer, ["Cookie"])
        return answer
