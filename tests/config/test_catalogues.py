"""The catalogues: up to date with the source, compiled, whole in German, true to their figures."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po
from django.conf import settings

from config.management.commands.messages import (
    APPS,
    brought_up,
    files_of,
    languages,
    path_of,
    said,
    templates,
)

CATALOGUES = [(app, language) for app in APPS for language in languages()]
FIGURES = re.compile(r"\{\w*\}|%\(\w+\)s|%%")
# What stands on the list, the wall and the band: never another word for it.
STANDINGS = {
    "de": ("TANK", "NICHT", "UNSICHER"),
    "it": ("TANK", "NO", "INCERTO"),
    "fr": ("TANK", "NON", "PAS SÛR"),
    "ro": ("TANC", "NU", "NESIGUR"),
}
ENGLISH = ("TANK", "NOT", "NOT SURE")


def catalogue(app: str, language: str) -> Catalog:
    with path_of(app, language).open("rb") as file:
        return read_po(file, locale=language, abort_invalid=True)


def texts(message: Message) -> Iterator[tuple[str, str]]:
    """A message in each number, beside its translation; the one alone may leave its figure out."""
    if isinstance(message.id, str):
        yield message.id, str(message.string)
    else:
        one, many = message.id
        for place, words in enumerate(message.string):
            yield (one if place == 0 else many), words


def translated(app: str, language: str) -> Iterator[tuple[str, str]]:
    for message in catalogue(app, language):
        if message.id and said(message):
            yield from texts(message)


def test_every_catalogue_has_the_messages_of_the_source_and_is_compiled():
    stale = [
        str(path.relative_to(settings.BASE_DIR))
        for app, template in templates()
        for language in languages()
        for path, content in files_of(app, language, brought_up(app, language, template))
        if not path.exists() or path.read_bytes() != content
    ]
    assert not stale, f"run manage.py messages: {stale}"


@pytest.mark.parametrize("app", APPS)
def test_german_is_whole(app):
    bare = [m.id for m in catalogue(app, "de") if m.id and (m.fuzzy or not said(m))]
    assert not bare, f"{len(bare)} without German: {bare[:20]}"


@pytest.mark.parametrize(("app", "language"), CATALOGUES)
def test_a_translation_has_the_figures_of_its_message(app, language):
    for message in catalogue(app, language):
        if message.id and said(message):
            pairs = [*texts(message)]
            # “One cow” may be said without its figure; every other number must have it.
            kept = pairs if isinstance(message.id, str) else pairs[1:]
            for source, words in kept:
                assert sorted(FIGURES.findall(words)) == sorted(FIGURES.findall(source)), words
            for _, words in pairs:
                assert set(FIGURES.findall(words)) <= set(FIGURES.findall(pairs[-1][0])), words


def standings(text: str, words: tuple[str, ...]) -> list[int]:
    """How often each of the three words stands in a text; NOT SURE is no NOT."""
    found = []
    for word in sorted(words, key=len, reverse=True):
        text, count = re.subn(rf"(?<!\w){word}(?!\w)", " ", text)
        found.append((words.index(word), count))
    return [count for _, count in sorted(found)]


@pytest.mark.parametrize(("app", "language"), CATALOGUES)
def test_tank_and_not_are_said_in_one_word_wherever_they_are_said(app, language):
    for source, words in translated(app, language):
        meant = standings(source, ENGLISH)
        assert standings(words, STANDINGS[language]) == meant, f"{source} → {words}"


def test_every_language_has_its_own_three_words():
    assert set(STANDINGS) == set(languages())
    shared: Any = {word for words in STANDINGS.values() for word in words[1:]}
    assert len(shared) == 2 * len(STANDINGS)
