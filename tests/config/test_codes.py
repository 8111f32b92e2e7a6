"""One-time codes: set up, asked for, used once, lost; and who gets no further without."""

from datetime import timedelta

import pytest
from django.core.management import call_command
from django.test import Client
from django.utils import timezone

from config.access import codes
from config.models import AccessEvent, MachineToken, OneTimeCode, RecoveryCode, Session
from config.roles import OFFICE, OWNER, ROLES, VET
from tests.cast import text, user_in

pytestmark = pytest.mark.django_db
WORD = "a long enough word 77"
SALT = "0123456789abcdef"


def known(user):
    user.set_password(WORD)
    user.save()
    return user


def enrolled(user):
    """The user with an app, and their recovery codes."""
    known(user)
    OneTimeCode.objects.create(user=user, salt=SALT)
    return codes.new_recovery_codes(user)


def code_now(steps=0):
    return codes.code_at(codes.secret_of(SALT), timezone.now(), steps=steps)


def password_given(user, client=None):
    client = client or Client()
    answer = client.post("/login/?next=/entries/", {"username": user.username, "password": WORD})
    assert (answer.status_code, answer.url) == (302, "/login/code/")
    return client


def is_in(client):
    return client.get("/account/").status_code == 200


# Setting up


def test_an_app_is_set_up_with_its_first_code_and_the_password(vet):
    client, other = Client(), Client()
    known(vet)
    for one in (client, other):
        one.force_login(vet)
    page = client.get("/account/code/")
    salt = client.session["new codes"]
    assert codes.offer(vet, salt).blocks in text(page)
    assert b"<svg" in page.content
    code = codes.code_at(codes.secret_of(salt), timezone.now())
    for fields in ({"code": "000000", "password": WORD}, {"code": code, "password": "wrong"}):
        assert client.post("/account/code/", fields).status_code == 422
        assert not OneTimeCode.objects.exists()
    shown = client.post("/account/code/", {"code": f"{code[:3]} {code[3:]}", "password": WORD})
    assert shown.status_code == 200
    assert "no-store" in shown["Cache-Control"]
    made = shown.context["made"]
    assert len(set(made)) == 10
    assert all(one in text(shown) for one in made)
    assert is_in(client)
    assert not is_in(other)
    # The code it was set up with is used up.
    assert not codes.is_right(vet, code, timezone.now())


def test_no_secret_is_kept(vet):
    made = enrolled(vet)
    kept = str([*OneTimeCode.objects.values_list(), *RecoveryCode.objects.values_list()])
    assert codes.secret_of(SALT) not in kept
    assert not any(code in kept or code.replace("-", "") in kept for code in made)


# Signing in


def test_the_password_alone_opens_nothing(vet):
    enrolled(vet)
    client = password_given(vet)
    assert client.get("/").status_code == 302
    assert not is_in(client)
    assert not Session.objects.filter(user=vet).exists()
    answer = client.post("/login/code/", {"code": code_now()})
    assert (answer.status_code, answer.url) == (302, "/entries/")
    assert is_in(client)


def test_the_session_has_a_new_number_after_each_step(vet):
    enrolled(vet)
    client = password_given(vet)
    between = client.cookies["sessionid"].value
    client.post("/login/code/", {"code": code_now()})
    assert client.cookies["sessionid"].value != between
    assert not Session.objects.filter(pk=between).exists()


def test_a_code_counts_once(vet):
    enrolled(vet)
    code = code_now()
    password_given(vet).post("/login/code/", {"code": code})
    answer = password_given(vet).post("/login/code/", {"code": code})
    assert answer.status_code == 422
    assert "Each counts once" in text(answer)


def test_a_code_of_before_a_used_one_counts_no_more(vet):
    enrolled(vet)
    now = timezone.now()
    before = codes.code_at(codes.secret_of(SALT), now, steps=-1)
    assert codes.is_right(vet, codes.code_at(codes.secret_of(SALT), now), now)
    assert not codes.is_right(vet, before, now)


def test_guessing_codes_ends(vet):
    enrolled(vet)
    client = password_given(vet)
    wrong = f"{(int(code_now()) + 500_000) % 1_000_000:06d}"
    answers = [client.post("/login/code/", {"code": wrong}).status_code for _ in range(9)]
    assert answers == [422] * 8 + [429]
    # Also for the right one, from wherever.
    elsewhere = password_given(vet)
    assert elsewhere.post("/login/code/", {"code": code_now()}).status_code == 429
    assert not is_in(elsewhere)


def test_nobody_comes_to_the_code_without_the_password(vet):
    enrolled(vet)
    client = Client()
    assert client.get("/login/code/").url == "/login/"
    assert client.post("/login/code/", {"code": code_now()}).url == "/login/"
    assert not is_in(client)


@pytest.mark.parametrize("happens", ["waits too long", "changes the password", "leaves"])
def test_a_password_given_before_counts_no_more(vet, happens):
    enrolled(vet)
    client = password_given(vet)
    session = client.session
    if happens == "waits too long":
        old = timezone.now() - timedelta(minutes=6)
        session["waits for a code"] = {**session["waits for a code"], "at": old.isoformat()}
        session.save()
    elif happens == "changes the password":
        vet.set_password("quite another word 78")
        vet.save()
    else:
        vet.is_active = False
        vet.save()
    assert client.post("/login/code/", {"code": code_now()}).url == "/login/"
    assert not is_in(client)


# The app is lost


def test_a_recovery_code_opens_once_and_is_told(vet):
    made = enrolled(vet)
    client = password_given(vet)
    client.post("/login/code/", {"code": made[0].upper().replace("-", " ")})
    assert is_in(client)
    assert "signed in with a recovery code" in text(client.get("/account/"))
    assert codes.recovery_left(vet) == 9
    again = password_given(vet).post("/login/code/", {"code": made[0]})
    assert again.status_code == 422


def test_a_recovery_code_is_nobody_elses(vet, owner):
    made = enrolled(vet)
    known(owner)
    OneTimeCode.objects.create(user=owner, salt="another")
    assert password_given(owner).post("/login/code/", {"code": made[0]}).status_code == 422


def test_new_recovery_codes_end_the_old_ones(vet):
    made = enrolled(vet)
    client = password_given(vet)
    client.post("/login/code/", {"code": code_now()})
    assert client.post("/account/code/recovery/", {"password": "wrong"}).status_code == 422
    shown = client.post("/account/code/recovery/", {"password": WORD})
    new = shown.context["made"]
    assert not codes.is_right(vet, made[1], timezone.now())
    assert codes.is_right(vet, new[1], timezone.now())


def test_the_office_forgets_them_for_somebody_and_not_for_itself(vet, office):
    enrolled(vet)
    there = password_given(vet)
    there.post("/login/code/", {"code": code_now()})
    known(office)
    client = Client()
    client.force_login(office)
    assert client.get(f"/people/{office.pk}/code/").status_code == 403
    assert client.post(f"/people/{vet.pk}/code/", {"password": "wrong"}).status_code == 422
    assert client.post(f"/people/{vet.pk}/code/", {"password": WORD}).status_code == 302
    assert not codes.has_codes(vet)
    assert not RecoveryCode.objects.exists()
    assert not is_in(there)
    assert AccessEvent.objects.filter(user=vet, by=office, what="code ended").exists()


def test_the_vet_forgets_nobodys_codes(office, vet_client):
    enrolled(office)
    assert vet_client.post(f"/people/{office.pk}/code/", {"password": WORD}).status_code == 403
    assert codes.has_codes(office)


def test_the_command_forgets_them_for_the_last_one_in_the_office(office):
    enrolled(office)
    call_command("person", office.username, "--forget-codes", verbosity=0)
    assert not codes.has_codes(office)


def test_one_ends_ones_own(vet):
    enrolled(vet)
    client = password_given(vet)
    client.post("/login/code/", {"code": code_now()})
    assert client.post("/account/code/end/", {"password": "wrong"}).status_code == 422
    assert client.post("/account/code/end/", {"password": WORD}).status_code == 302
    assert not codes.has_codes(vet)


# Who needs them


@pytest.mark.parametrize("role", ROLES)
def test_whose_role_needs_codes_gets_no_further_after_the_days_of_grace(role, settings):
    settings.CODES_REQUIRED = True
    user, client = known(user_in(role)), Client()
    client.force_login(user)
    assert client.get("/roles/").status_code != 302
    user.date_joined -= timedelta(days=settings.CODES_GRACE_DAYS, minutes=1)
    user.save()
    needed = role in (VET, OFFICE, OWNER)
    answer = client.get("/roles/")
    assert (answer.status_code == 302) is needed
    if not needed:
        return
    assert answer.url == "/account/code/"
    assert client.get("/account/code/").status_code == 200
    assert client.post("/entries/groups/new/", {"once": "1"}).url == "/account/code/"
    told = client.get("/api/animals/")
    assert told.status_code == 403
    assert "Set up one-time codes first" in told.json()["detail"]
    asked = {"username": user.username, "password": WORD}
    answer = Client().post("/api/tokens/", asked, content_type="application/json")
    assert answer.status_code == 401
    OneTimeCode.objects.create(user=user, salt=SALT)
    assert client.get("/roles/").status_code == 200


def test_without_the_rule_the_page_says_so_plainly(vet_client):
    assert "This book does not ask for them" in text(vet_client.get("/account/"))


def test_a_program_needs_the_code_too(vet):
    enrolled(vet)
    asked = {"username": vet.username, "password": WORD}

    def answer(**more):
        body = {**asked, **more}
        return Client().post("/api/tokens/", body, content_type="application/json")

    without, wrong = answer(), answer(code="000000")
    assert (without.status_code, wrong.status_code) == (401, 401)
    assert without.json()["detail"] == wrong.json()["detail"]
    assert "do not go together" in wrong.json()["detail"]
    assert answer(code=code_now()).status_code == 201
    assert MachineToken.objects.count() == 1
