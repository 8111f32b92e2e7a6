"""The search in the head of every page: each app offers what it can look up."""

from collections.abc import Callable, Iterable

from django.utils.translation import gettext as _

Found = Iterable[tuple[str, str]]
Finder = Callable[[str], Found]

_finders: dict[str, Finder] = {}


def register(label: str, finder: Finder) -> None:
    """Offer a finder: given what was typed, it gives (title, address) pairs, best first.

    Raises LookupError when the label is taken.
    """
    if label in _finders:
        raise LookupError(f"two finders are called {label}")
    _finders[label] = finder


def find(text: str) -> list[tuple[str, list[tuple[str, str]]]]:
    """What each finder found, by label; finders without an answer are left out."""
    text = text.replace("\x00", "").strip()
    if not text:
        return []
    answers = [(_(label), list(finder(text))) for label, finder in _finders.items()]
    return [(label, found) for label, found in answers if found]
