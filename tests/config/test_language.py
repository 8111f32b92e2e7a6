"""Languages: which one a reader gets, what is stored in the estate's, and what stays as it is."""

import os
import re
import subprocess
import sys
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client
from django.utils import translation

from config.api.serializers import serializer_of
from config.days import day_words, local
from config.language import in_estate_language, language_now, once_a_language, without_noun
from config.phone_words import WORDS
from config.saying import day_said
from config.templatetags.sheet import amount, moment
from config.views.offline import worker_text
from milk.limits import plain

pytestmark = pytest.mark.django_db
AT = datetime(2026, 6, 6, 14, 30, tzinfo=UTC)
SAID = re.compile(r'words\.say\(\s*"([^"]+)"')


def lang_of(answer) -> str:
    return re.search(r'<html lang="([^"]+)"', answer.content.decode())[1]


def test_a_reader_gets_the_language_the_browser_asks_for(client):
    assert lang_of(client.get("/login/")) == "en-gb"
    assert lang_of(client.get("/login/", headers={"Accept-Language": "de-AT,en;q=0.5"})) == "de"
    assert lang_of(client.get("/login/", headers={"Accept-Language": "en-US"})) == "en-gb"
    assert lang_of(client.get("/login/", headers={"Accept-Language": "hu"})) == "en-gb"


def test_a_reader_who_asks_for_none_gets_the_estates(client, settings):
    settings.LANGUAGE_CODE = "ro"
    assert lang_of(client.get("/login/", headers={"Accept-Language": "hu"})) == "ro"
    assert lang_of(client.get("/login/", headers={"Accept-Language": "fr"})) == "fr"


def test_a_choice_is_remembered_and_leads_back(vet_client):
    answer = vet_client.post("/language/", {"language": "it", "next": "/entries/?x=1"})
    assert answer.status_code == 302
    assert answer["Location"] == "/entries/?x=1"
    page = vet_client.get("/entries/", headers={"Accept-Language": "fr"})
    assert lang_of(page) == "it"
    assert {"Accept-Language", "Cookie"} <= set(page["Vary"].split(", "))


def test_a_choice_leads_nowhere_else_and_needs_the_forms_own_token(vet_client):
    answer = vet_client.post("/language/", {"language": "de", "next": "https://example.org/"})
    assert not answer["Location"].startswith("http")
    assert (
        Client(enforce_csrf_checks=True).post("/language/", {"language": "de"}).status_code == 403
    )


def test_every_page_offers_every_language_by_its_own_name(client):
    html = client.get("/login/").content.decode()
    for code, name in settings.LANGUAGES:
        assert f'value="{code}" lang="{code}"' in html
        assert f">{name}</button>" in html


def test_the_api_and_table_files_keep_the_standard_form(vet_client):
    vet_client.post("/language/", {"language": "de"})
    answer = vet_client.get("/api/animals/00000000-0000-0000-0000-000000000000/")
    assert answer["Content-Language"] == "en-gb"
    assert "There is nothing here" in answer.json()["detail"]
    assert vet_client.get("/herd/medicine-book/?as=csv")["Content-Language"] == "en-gb"
    assert vet_client.get("/herd/medicine-book/")["Content-Language"] == "de"


def test_a_phone_keeps_pages_by_language_and_another_language_has_another_worker(vet_client, vet):
    assert vet_client.get("/")["Keep-On-Phone"] == f"{vet.pk}-en-gb"
    vet_client.post("/language/", {"language": "de"})
    assert vet_client.get("/")["Keep-On-Phone"] == f"{vet.pk}-de"
    assert '"language": "de"' in vet_client.get("/sw.js").content.decode()
    assert worker_text("de") != worker_text("it")


def test_words_are_stored_in_the_estates_language(settings):
    settings.LANGUAGE_CODE = "fr"
    with translation.override("de"), in_estate_language():
        assert language_now() == "fr"

    @in_estate_language()
    def stored() -> str:
        return language_now()

    with translation.override("it"):
        assert stored() == "fr"
        assert language_now() == "it"


@pytest.mark.parametrize(
    ("language", "figures"),
    # Unicode CLDR 44, number symbols of each language; French sets thousands apart by a space.
    [("en-gb", "1,234.5"), ("de", "1.234,5"), ("it", "1.234,5"), ("ro", "1.234,5")],
)
def test_numbers_are_in_the_readers_form(language, figures):
    with translation.override(language):
        assert amount(1234.5) == figures


def test_french_numbers_have_a_comma_and_a_space_that_does_not_break():
    with translation.override("fr"):
        assert amount(1234.5).replace("\u202f", "\u00a0") == "1\u00a0234,5"


def test_days_are_in_the_readers_form():
    assert moment(AT) in {"Sat 6 Jun, 16:30", "Sat 6 Jun 2026, 16:30"}
    assert local(AT) == "2026-06-06 16:30"
    assert day_words(AT.date()) == "Sat 6 Jun 2026"


def test_every_text_of_the_scripts_can_be_translated():
    scripts = [*Path("config/static").rglob("*.js"), *Path("herd/static").rglob("*.js")]
    said = {text for path in scripts for text in SAID.findall(path.read_text())}
    assert len(said) > 20
    assert said <= set(WORDS)


def test_what_is_made_once_a_language_is_made_in_each() -> None:
    made: list[str] = []

    @once_a_language
    def label() -> str:
        made.append(language_now())
        return made[-1]

    for language in ("de", "en-gb", "de", "ro"):
        with translation.override(language):
            assert label() == language
    assert made == ["de", "en-gb", "ro"]


def test_a_field_of_the_api_made_in_one_language_speaks_that_of_each_request():
    with translation.override("de"):
        fields = serializer_of("animals")().fields
    with translation.override("en-gb"):
        assert str(fields["sex"].choices["F"]) == "female"
        said = fields["sex"].error_messages["invalid_choice"].format(input="X")
        assert said.startswith("“X” cannot be chosen.")
    with translation.override("de"):
        assert str(fields["sex"].choices["F"]) == "weiblich"
        assert not fields["sex"].error_messages["invalid_choice"].startswith("“")


def test_pure_modules_say_figures_and_days_in_the_readers_form():
    assert plain(Decimal("1234.50")) == "1,234.5"
    assert day_said(AT.date()) == "2026-06-06"
    with translation.override("de"):
        assert plain(Decimal("1234.50")) == "1.234,5"
        assert day_said(AT.date()) == "06.06.2026"


def test_things_are_found_by_their_names_in_english_and_in_the_readers_language():
    assert without_noun("tank A", "tank") == "A"
    assert without_noun("B", "tank") == "B"
    with translation.override("de"):
        assert without_noun("Kessel 2026-06-09/17", "vat") == "2026-06-09/17"
        assert without_noun("vat 2026-06-09/17", "vat") == "2026-06-09/17"


# What is kept must be what is looked up, in every language, also of a word that nobody translated.
KEPT = """
import django; django.setup()
from django.conf import settings
from django.utils import translation
from config.language import keep_words
SAID = ("Today", "Herd", "not known", "a word of nobody", "{count} treatments", "")
def said():
    found = []
    for code, _ in settings.LANGUAGES:
        with translation.override(code):
            found.append([translation.gettext(word) for word in SAID])
    return found
looked_up = said()
keep_words()
print(said() == said() == looked_up, len({str(words) for words in looked_up}))
"""


def test_words_kept_are_the_words_looked_up():
    environment = os.environ | {"DJANGO_SETTINGS_MODULE": "config.settings"}
    command = [sys.executable, "-c", KEPT]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["True", "5"]
