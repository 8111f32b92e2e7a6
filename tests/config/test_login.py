"""Signing in and out, and being locked out."""

import pytest
from django.test import Client

pytestmark = pytest.mark.django_db
WORD = "a long enough word 77"


@pytest.fixture
def known(vet):
    vet.set_password(WORD)
    vet.save()
    return vet


def sign_in(client, word=WORD, **extra):
    return client.post("/login/", {"username": "vet", "password": word, **extra})


def test_sign_in_leads_to_today(client, known):
    answer = sign_in(client)
    assert (answer.status_code, answer.url) == (302, "/")
    assert client.get("/").status_code == 200


def test_sign_in_leads_back_to_where_one_came_from(client, known):
    assert sign_in(client, next="/entries/").url == "/entries/"


def test_sign_in_does_not_lead_to_another_site(client, known):
    assert sign_in(client, next="https://example.org/").url == "/"


def test_a_wrong_password_is_refused_in_words(client, known):
    answer = sign_in(client, "wrong")
    assert answer.status_code == 200
    assert 'role="alert"' in answer.content.decode()
    assert client.get("/").status_code == 302


def test_sign_out(vet_client):
    answer = vet_client.post("/logout/")
    assert (answer.status_code, answer.url) == (302, "/login/")
    assert vet_client.get("/").status_code == 302


def test_sign_out_by_a_link_is_refused(vet_client):
    assert vet_client.get("/logout/").status_code == 405
    assert vet_client.get("/").status_code == 200


def test_too_many_wrong_passwords_lock_the_name(client, known, settings):
    settings.AXES_ENABLED = True
    settings.AXES_FAILURE_LIMIT = 3
    for _ in range(3):
        answer = sign_in(client, "wrong")
    assert answer.status_code == 429
    assert "Too many wrong passwords" in answer.content.decode()
    assert sign_in(client).status_code == 429


def test_a_machine_gets_a_token_and_ends_it(client, known):
    asked = {"username": "vet", "password": WORD}
    answer = client.post("/api/tokens/", asked, content_type="application/json")
    assert answer.status_code == 201
    head = {"Authorization": f"Token {answer.json()['token']}"}
    assert client.get("/api/animals/", headers=head).status_code == 200
    assert client.post("/api/tokens/end/", headers=head).status_code == 204
    assert client.get("/api/animals/", headers=head).status_code == 401


def test_no_token_for_a_wrong_password(client, known):
    asked = {"username": "vet", "password": "wrong"}
    answer = client.post("/api/tokens/", asked, content_type="application/json")
    assert answer.status_code == 401
    assert "do not go together" in answer.json()["detail"]


@pytest.mark.parametrize(
    "body", ["{}", "[]", "{", '{"username": "vet"}', '{"username": "\\u0000"}']
)
def test_no_token_for_nonsense(client, body):
    assert client.post("/api/tokens/", body, content_type="application/json").status_code == 400


def test_a_form_from_another_site_is_refused_in_words(vet):
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(vet)
    answer = strict.post("/entries/groups/new/", {"once": "1", "number": "77"})
    assert answer.status_code == 403
    assert "Open the form again" in answer.content.decode()
