"""Bring the catalogues up to date with the source and compile them; needs the tools of developers.

Each app has its own, `<app>/locale/<language>/LC_MESSAGES/django.po`; a text that an app above it
has already is translated there alone. Texts come from `_`, `N_` and their kin in Python, from the
templates, from the names of kinds in sentences, and from those that Django makes of columns.
"""

import ast
import io
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from babel.messages.catalog import Catalog
from babel.messages.extract import DEFAULT_KEYWORDS, extract
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from django.apps import apps
from django.conf import settings
from django.core.management.base import BaseCommand, CommandParser
from django.utils.translation import templatize

from config.roles import WRITERS

APPS = ("config", "herd", "feed", "milk")
KEYWORDS: dict[str, Any] = {
    **DEFAULT_KEYWORDS,
    **dict.fromkeys(("_", "_l", "N_", "gettext_noop", "gettext_lazy"), None),
    "ngettext_lazy": (1, 2),
    "pgettext_lazy": ((1, "c"), 2),
}
LEFT_OUT = {"migrations", "locale", "embedded", "demo", "management"}
PROJECT = "Swardline"
# A catalogue is the same whenever it is made.
MADE = datetime(2026, 1, 1, tzinfo=UTC)
MISSING = "{catalogue}: {count} of {whole} without a translation"


class Command(BaseCommand):
    help = "Bring the catalogues of the texts up to date and compile them."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--check", action="store_true", help="write nothing; say what is not up to date"
        )

    def handle(self, *args: Any, check: bool, **options: Any) -> None:
        stale = []
        for app, template in templates():
            for language in languages():
                found = brought_up(app, language, template)
                for path, content in files_of(app, language, found):
                    if not path.exists() or path.read_bytes() != content:
                        stale.append(str(path.relative_to(settings.BASE_DIR)))
                        if not check:
                            path.parent.mkdir(parents=True, exist_ok=True)
                            path.write_bytes(content)
                self.tell(app, language, found)
        self.stdout.write("\n".join(stale) if stale else "Every catalogue is up to date.")
        if check and stale:
            raise SystemExit(1)

    def tell(self, app: str, language: str, found: Catalog) -> None:
        """Say how much is left to translate."""
        whole = [message for message in found if message.id]
        bare = [message for message in whole if not said(message)]
        if bare:
            words = MISSING.format(catalogue=f"{app} {language}", count=len(bare), whole=len(whole))
            self.stdout.write(words)


def languages() -> list[str]:
    """The languages that are translated into; that of the source is not."""
    return [code for code, _ in settings.LANGUAGES if not code.startswith("en")]


def said(message: Any) -> bool:
    """Whether a message has a translation, in every number it has."""
    words = message.string if isinstance(message.string, list | tuple) else (message.string,)
    return bool(words) and all(words)


def templates() -> Iterator[tuple[str, Catalog]]:
    """Every app with the texts of its source that no app before it has."""
    before: set[Any] = set()
    for app in APPS:
        found = Catalog(project=PROJECT, creation_date=MADE)
        for place, words, comments, context in texts_of(app):
            key = (words, context)
            if key in before:
                continue
            found.add(words, locations=[(place, 0)], auto_comments=comments, context=context)
        before |= {(message.id, message.context) for message in found if message.id}
        yield app, found


Text = tuple[str, Any, list[str], str | None]


def texts_of(app: str) -> Iterator[Text]:
    """The texts of an app: of its modules, its pages and its columns."""
    root = Path(settings.BASE_DIR) / app
    for path in sorted(root.rglob("*.py")):
        if not LEFT_OUT & set(path.relative_to(root).parts):
            yield from texts_in(path, path.read_text())
            yield from texts_set_in(path, path.read_text())
    for path in sorted(root.rglob("*.html")):
        yield from texts_in(path, pythonic(path))
    if app == "config":
        for slug in sorted(WRITERS):
            yield "config/roles.py", slug.replace("-", " "), [], None
    place = f"{app}/models"
    for name in sorted(column_names(app)):
        yield place, name, [], None


def texts_in(path: Path, source: str) -> Iterator[Text]:
    """The texts of one file, each with its place."""
    place = str(path.relative_to(settings.BASE_DIR))
    file = io.BytesIO(source.encode())
    for _, words, comments, context in extract("python", file, KEYWORDS, options={}):
        yield place, words, comments, context


def texts_set_in(path: Path, source: str) -> Iterator[Text]:
    """The texts within f-strings, which are one token to the extractor."""
    place = str(path.relative_to(settings.BASE_DIR))
    for text in (node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.JoinedStr)):
        for call in ast.walk(text):
            match call:
                case ast.Call(func=ast.Name(id="_"), args=[ast.Constant(value=str(words))]):
                    yield place, words, [], None


def pythonic(path: Path) -> str:
    """A template as its calls of gettext; what is set in is not, so that it reads as Python."""
    source = templatize(path.read_text(), origin=str(path))
    return re.sub(r"(?m)^[ \t]+", "", source)


def column_names(app: str) -> set[str]:
    """The names that Django made of columns which were given none."""
    return {
        str(field.verbose_name)
        for model in apps.get_app_config(app).get_models()
        for field in model._meta.get_fields()
        if getattr(field, "_verbose_name", "") is None and hasattr(field, "verbose_name")
    }


def path_of(app: str, language: str) -> Path:
    """Where a catalogue stands."""
    return Path(settings.BASE_DIR) / app / "locale" / language / "LC_MESSAGES" / "django.po"


def brought_up(app: str, language: str, template: Catalog) -> Catalog:
    """A catalogue with the texts of the source: what was translated stays, what is gone goes."""
    path = path_of(app, language)
    found = Catalog(locale=language, creation_date=MADE, revision_date=MADE, project=PROJECT)
    if path.exists():
        with path.open("rb") as file:
            found = read_po(file, locale=language, ignore_obsolete=True)
    found.update(template, no_fuzzy_matching=True)
    found.obsolete.clear()
    found.header_comment = f"# Swardline, {app}: {language}"
    found.creation_date = found.revision_date = MADE
    found.last_translator = found.language_team = found.msgid_bugs_address = PROJECT
    found.version = "1"
    found.fuzzy = False
    return found


def files_of(app: str, language: str, found: Catalog) -> Iterator[tuple[Path, bytes]]:
    """A catalogue as people read it, and compiled from that as the machine does."""
    path, text, compiled = path_of(app, language), io.BytesIO(), io.BytesIO()
    write_po(text, found, width=100, include_lineno=False)
    yield path, text.getvalue()
    text.seek(0)
    write_mo(compiled, read_po(text, locale=language))
    yield path.with_suffix(".mo"), compiled.getvalue()
