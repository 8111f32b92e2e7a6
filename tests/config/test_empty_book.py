"""A book without an entry: every page opens, and says what to do first, with a way to it."""

import re

import pytest
from django.urls import reverse

from config.kinds import all_kinds
from config.roles import ACTIONS, READERS, may
from tests.browser.walk import OUTSIDE, names_of
from tests.cast import Pages, text, user_in
from tests.factories.herd import make_animal

pytestmark = pytest.mark.django_db
FIRST = 'href="/first-day/"'
MAIN = re.compile(r'<main id="main".*?</main>', re.S)
# Pages of the phone itself, which know nothing of the book.
OF_THE_PHONE = {"queue"}


def client_of(role):
    client = Pages()
    client.force_login(user_in(role))
    return client


def main_of(answer):
    return MAIN.search(answer.content.decode())[0]


@pytest.mark.parametrize("role", READERS)
def test_every_page_of_an_empty_book_leads_to_the_first_day(role):
    client, silent = client_of(role), []
    for name, told in names_of():
        if told or name in OUTSIDE | OF_THE_PHONE:
            continue
        answer = client.get(reverse(name))
        # What a page cannot do without (a rule, a cow) it says as a refusal, with the page's head.
        assert answer.status_code in (200, 302, 403, 405, 409), name
        is_page = answer.headers.get("Content-Type", "").startswith("text/html")
        if answer.status_code in (200, 409) and is_page and FIRST not in main_of(answer):
            silent.append(name)
    assert not silent


def test_nobody_is_told_so_once_a_cow_is_in_the_book():
    make_animal(1042)
    client = client_of("vet")
    for path in ("/herd/walk/", "/entries/", "/milk/"):
        assert "The book is empty" not in text(client.get(path))


@pytest.mark.parametrize("role", ["vet", "inspector"])
def test_every_empty_list_says_how_its_first_entry_comes_about(role):
    make_animal(1042)
    client, user = client_of(role), user_in(role)
    for kind in all_kinds():
        if kind.model.objects.exists():
            continue
        main = main_of(client.get(reverse("kind-list", args=[kind.slug])))
        action = f"write:{kind.slug}"
        way = reverse("kind-new", args=[kind.slug]) if may(user, action) else reverse("roles")
        assert f'href="{way}"' in main, kind.slug
        if not may(user, action) and ACTIONS[action]:
            assert ACTIONS[action][0] in main, kind.slug
