"""Tokens of programs: the least right, the last use, the end; and what they never open."""

import re
from datetime import timedelta

import pytest
from django.contrib.auth.models import Group as Role
from django.test import Client
from django.utils import timezone

from config.access import tokens
from config.models import AccessEvent, MachineToken
from config.roles import ACTIONS, LABORATORY, READERS, ROLES
from tests.cast import text, user_in
from tests.factories.herd import make_animal

pytestmark = pytest.mark.django_db
WORD = "a long enough word 77"


def known(user):
    user.set_password(WORD)
    user.save()
    return user


def asked(user, **more):
    body = {"username": user.username, "password": WORD, **more}
    return Client().post("/api/tokens/", body, content_type="application/json")


def ask(token, path="/api/animals/", **more):
    return Client(**more).get(path, headers={"Authorization": f"Token {token}"})


def made(user, **more):
    return tokens.make(user, name="scale", **more)


@pytest.mark.parametrize("role", ROLES)
def test_without_a_word_a_token_may_the_least(role):
    answer = asked(known(user_in(role)))
    assert answer.status_code == 201
    assert answer.json()["scopes"] == (["read"] if role in READERS else ["send in results"])


def test_without_a_role_there_is_none(nobody):
    answer = asked(known(nobody))
    assert answer.status_code == 422 or answer.status_code == 400
    assert "Your role may do nothing" in answer.content.decode()


def test_a_token_may_what_it_was_made_for_and_nothing_else(vet):
    known(vet)
    animal = make_animal()
    token = asked(vet, scopes=["write:heats"]).json()["token"]
    head = {"Authorization": f"Token {token}", "Idempotency-Key": "k"}

    def sends(slug):
        body = {"animal": str(animal.uuid)}
        return Client().post(f"/api/{slug}/", body, "application/json", headers=head)

    assert sends("heats").status_code != 403
    refused = sends("courses")
    assert refused.status_code == 403
    assert "This token may not write courses" in refused.json()["detail"]
    # Also not what its person may without a word: to read.
    assert ask(token).status_code == 403
    # And each action there is, by the rule itself.
    user = vet
    user.scopes = frozenset(["write:heats"])
    assert [action for action in ACTIONS if tokens.may(user, action)] == ["write:heats"]


@pytest.mark.parametrize("role", ROLES)
def test_no_token_may_more_than_its_person(role):
    user = known(user_in(role))
    for action, roles in ACTIONS.items():
        if role not in roles:
            with pytest.raises(tokens.ValidationError):
                tokens.checked_scopes(user, [action])
    for action in tokens.NEVER:
        assert action in ACTIONS
        with pytest.raises(tokens.ValidationError):
            tokens.checked_scopes(user, [action])


def test_a_role_taken_away_takes_the_right_of_its_tokens(vet):
    kept, token = made(vet, scopes=["read"])
    assert ask(token).status_code == 200
    vet.groups.set([Role.objects.get_or_create(name=LABORATORY)[0]])
    assert ask(token).status_code == 403


def test_the_last_use_is_kept_once_a_minute(vet):
    kept, token = made(vet)
    assert kept.seen_at is None
    ask(token, REMOTE_ADDR="192.0.2.7")
    kept.refresh_from_db()
    first = kept.seen_at
    assert first is not None
    assert kept.seen_from == "192.0.2.7"
    ask(token, REMOTE_ADDR="192.0.2.8")
    kept.refresh_from_db()
    assert kept.seen_at == first
    old = first - timedelta(minutes=2)
    MachineToken.objects.update(seen_at=old)
    ask(token, REMOTE_ADDR="192.0.2.8")
    kept.refresh_from_db()
    assert kept.seen_from == "192.0.2.8"


def test_a_token_ends_with_its_days(vet):
    kept, token = made(vet, days=1)
    assert kept.expiry - timezone.now() < timedelta(days=1, minutes=1)
    MachineToken.objects.update(expiry=timezone.now() - timedelta(seconds=1))
    assert ask(token).status_code == 401


def test_no_token_is_kept(vet):
    kept, token = made(vet)
    assert token not in str(MachineToken.objects.values_list())
    # 256 bits.
    assert len(token) == 64


def test_guessing_tokens_ends_and_the_words_are_the_same(vet):
    kept, token = made(vet)
    wrong = [token[:15] + "0" * 49, "x", "ü", "0" * 64]
    answers = [ask(one) for one in wrong]
    assert {one.status_code for one in answers} == {401}
    assert len({one.json()["detail"] for one in answers}) == 1
    codes = [ask("0" * 64).status_code for _ in range(28)]
    assert codes == [401] * 26 + [429] * 2


# The page


def send(client, **fields):
    usual = {"name": "scale", "days": "30", "password": WORD}
    return client.post("/account/tokens/", {**usual, **fields})


def test_one_makes_looks_at_and_ends_a_token(vet, client):
    client.force_login(known(vet))
    page = send(client, acts=["read"], kinds=["write:heats"])
    assert page.status_code == 200
    assert "no-store" in page["Cache-Control"]
    token = re.search(r"[0-9a-f]{64}", text(page))[0]
    assert ask(token).status_code == 200
    listed = text(client.get("/account/tokens/"))
    assert "scale" in listed
    assert "last used" in listed
    assert token not in listed
    kept = MachineToken.objects.get()
    assert kept.scopes == ["read", "write:heats"]
    client.post(f"/account/tokens/{kept.uuid}/end/")
    assert ask(token).status_code == 401
    assert [event.what for event in AccessEvent.objects.order_by("pk")] == ["token", "token ended"]


@pytest.mark.parametrize(
    "fields",
    [
        {"acts": ["read"], "password": "wrong"},
        {"acts": []},
        {"acts": ["look after people"]},
        {"kinds": ["write:courses"]},
        {"acts": ["read"], "days": "366"},
        {"acts": ["read"], "days": "0"},
        {"acts": ["read"], "name": ""},
    ],
)
def test_what_is_no_token_makes_none(milker, client, fields):
    client.force_login(known(milker))
    assert send(client, **fields).status_code == 422
    assert not MachineToken.objects.exists()


def test_nobody_ends_anothers_token_but_office_and_owner(vet, milker_client, office_client):
    kept, token = made(vet)
    assert milker_client.post(f"/account/tokens/{kept.uuid}/end/").status_code == 404
    path = f"/people/{vet.pk}/tokens/{kept.uuid}/end/"
    assert milker_client.post(path).status_code == 403
    assert ask(token).status_code == 200
    assert office_client.post(path).status_code == 302
    assert ask(token).status_code == 401


def test_a_token_opens_no_page(vet):
    kept, token = made(vet, scopes=["read"])
    for path in ("/", "/account/", "/people/", "/account/tokens/"):
        assert ask(token, path).status_code == 302
