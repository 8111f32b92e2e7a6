"""One's own access: the password, sessions and their ends; who may end those of others."""

from datetime import timedelta

import pytest
from django.contrib.auth.hashers import ScryptPasswordHasher
from django.contrib.auth.models import User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.test import Client
from django.utils import timezone

from config import settings as base_settings
from config.access import sessions
from config.models import AccessEvent, MachineToken, Session
from config.roles import OFFICE, OWNER, ROLES
from tests.cast import text, user_in

pytestmark = pytest.mark.django_db
WORD, OTHER = "a long enough word 77", "quite another word 78"


def known(user):
    user.set_password(WORD)
    user.save()
    return user


def signed_in(user, browser="Mozilla/5.0 (Android 14; Mobile; rv:140.0) Firefox/140.0"):
    client = Client(headers={"User-Agent": browser})
    answer = client.post("/login/", {"username": user.username, "password": WORD})
    assert answer.status_code == 302
    return client


def change(client, old=WORD, new=OTHER, again=None):
    return client.post("/account/password/", {"password": old, "new": new, "again": again or new})


# The password


def test_a_password_is_changed_with_the_old_one_and_ends_the_other_sessions(milker):
    here, there = signed_in(known(milker)), signed_in(milker)
    answer = change(here)
    assert (answer.status_code, answer.url) == (302, "/account/")
    milker.refresh_from_db()
    assert milker.check_password(OTHER)
    assert "signed out on one other device" in text(here.get("/account/"))
    assert there.get("/account/").url.startswith("/login/")
    assert Session.objects.filter(user=milker).count() == 1
    assert [event.what for event in AccessEvent.objects.all()] == ["password"]


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"old": "wrong"}, "This is not your password"),
        ({"new": "short", "again": "short"}, "at least 12 characters"),
        ({"again": "not the same at all"}, "The two were not the same"),
        ({"new": WORD, "again": WORD}, "That is the password you have"),
        ({"new": "password1234", "again": "password1234"}, "password"),
        ({"new": "milkmilkmilk1", "again": "milkmilkmilk1"}, "somebody who knows this place"),
        ({"new": "918273645546", "again": "918273645546"}, "numeric"),
    ],
)
def test_what_is_no_new_password_changes_nothing(milker, fields, words):
    client = signed_in(known(milker))
    answer = change(client, **fields)
    assert answer.status_code == 422
    assert words in text(answer)
    assert WORD not in text(answer)
    milker.refresh_from_db()
    assert milker.check_password(WORD)


def test_long_passwords_of_any_signs_are_taken(milker):
    for word in ("grün ist die Wiese, früh um vier", "x9" * 60, "ein wort noch eins und eins"):
        validate_password(word, milker)
    with pytest.raises(ValidationError):
        validate_password("1234567891011", milker)


def test_asking_for_the_old_password_ends_after_too_many_wrong_ones(milker):
    client = signed_in(known(milker))
    answers = [change(client, old=f"wrong {number}").status_code for number in range(9)]
    assert answers == [422] * 8 + [429]
    answer = change(client)
    assert answer.status_code == 429
    assert int(answer["Retry-After"]) > 800
    milker.refresh_from_db()
    assert milker.check_password(WORD)


def test_passwords_are_scrambled_with_a_hash_that_needs_memory():
    hashers = base_settings.PASSWORD_HASHERS
    assert hashers[0].endswith("ScryptPasswordHasher")
    scrambled = ScryptPasswordHasher().encode(WORD, "a salt")
    # OWASP Password Storage Cheat Sheet, scrypt: N = 2^14, r = 8, p = 5 or harder (from memory).
    _algorithm, work, _salt, block, parallel, _hash = scrambled.split("$")
    assert (int(work), int(block), int(parallel)) >= (2**14, 8, 5)


# Sessions


def test_signing_in_gives_the_session_a_new_number(milker):
    known(milker)
    client = Client()
    client.get("/login/")
    client.post("/language/", {"language": "de"})
    session = client.session
    session["x"] = 1
    session.save()
    before = session.session_key or ""
    client.cookies["sessionid"] = before
    client.post("/login/", {"username": milker.username, "password": WORD})
    after = client.cookies["sessionid"].value
    assert after != before
    assert not Session.objects.filter(pk=before).exists()


def test_the_list_says_which_device_and_which_is_this(milker):
    here = signed_in(known(milker))
    signed_in(milker, "Mozilla/5.0 (Windows NT 10.0) Chrome/140.0 Safari/537.36")
    page = text(here.get("/account/"))
    assert "Firefox, Android" in page
    assert "Chrome, Windows" in page
    assert page.count("this one") == 1
    assert page.count("Sign out there") == 1
    assert "127.0.0.1" in page


def test_one_session_is_ended_from_another(milker):
    here, there = signed_in(known(milker)), signed_in(milker)
    row = Session.objects.exclude(pk=here.cookies["sessionid"].value).get(user=milker)
    assert here.post(f"/account/sessions/{row.uuid}/end/").status_code == 302
    assert there.get("/account/").url.startswith("/login/")
    assert here.get("/account/").status_code == 200


def test_nobody_ends_anothers_session_by_its_number(milker, stockman_client, stockman):
    signed_in(known(milker))
    row = Session.objects.get(user=milker)
    assert stockman_client.post(f"/account/sessions/{row.uuid}/end/").status_code == 404
    assert Session.objects.filter(pk=row.pk).exists()


def test_everything_else_is_ended_at_once(milker):
    known(milker)
    here, *others = (signed_in(milker) for _ in range(3))
    here.post("/account/sessions/end/")
    assert [client.get("/account/").status_code for client in others] == [302, 302]
    assert here.get("/account/").status_code == 200


@pytest.mark.parametrize("role", ROLES)
def test_an_idle_session_is_over_and_another_is_not(role, settings):
    client = Client()
    client.force_login(user_in(role))
    row = Session.objects.get(user__username=role.replace(" ", "-"))
    hours = settings.SESSION_IDLE_HOURS[role]
    for short, status in ((timedelta(minutes=1), 200), (timedelta(minutes=-1), 302)):
        seen = timezone.now() - timedelta(hours=hours) + short
        Session.objects.filter(pk=row.pk).update(seen_at=seen)
        assert client.get("/account/").status_code == status
    assert not Session.objects.filter(pk=row.pk).exists()


@pytest.mark.parametrize("role", ROLES)
def test_a_session_is_over_after_its_days_whatever_is_done(role, settings):
    client = Client()
    client.force_login(user_in(role))
    since = timezone.now() - timedelta(days=settings.SESSION_DAYS[role], minutes=1)
    Session.objects.update(since=since, seen_at=timezone.now())
    assert client.get("/account/").status_code == 302
    assert not Session.objects.exists()


def test_of_several_roles_the_shortest_time_counts():
    both = sessions.idle(["milker", OFFICE], on_phone=False)
    assert both == sessions.idle([OFFICE], on_phone=False)
    assert both < sessions.idle(["milker"], on_phone=False)


def test_what_a_page_asks_by_itself_keeps_no_session_alive(milker_client):
    old = timezone.now() - timedelta(hours=2)
    Session.objects.update(seen_at=old)
    milker_client.get("/phone/")
    milker_client.get("/herd/wall/", headers={"Sec-Fetch-Mode": "cors"})
    assert Session.objects.get().seen_at == old
    milker_client.get("/herd/wall/", headers={"Sec-Fetch-Mode": "navigate"})
    assert Session.objects.get().seen_at > old


def test_a_page_right_after_another_writes_nothing(milker_client, django_assert_num_queries):
    milker_client.get("/account/")
    seen = Session.objects.get().seen_at
    milker_client.get("/account/")
    assert Session.objects.get().seen_at == seen


def test_an_answer_to_a_script_of_before_takes_no_newer_cookie_away(milker):
    client = signed_in(known(milker))
    sessions.end(Session.objects.all())
    fetched = client.get("/phone/", headers={"Sec-Fetch-Mode": "cors"})
    assert "sessionid" not in fetched.cookies
    opened = client.get("/login/", headers={"Sec-Fetch-Mode": "navigate"})
    assert opened.cookies["sessionid"]["max-age"] == 0


def test_an_answer_of_before_a_sign_in_brings_no_form_number_back(milker):
    known(milker)
    client = Client(enforce_csrf_checks=True)
    asked_before = client.get("/login/").cookies["csrftoken"].value
    # The number the browser has is not sent again: what is answered late cannot bring it back.
    assert "csrftoken" not in client.get("/login/").cookies
    signed = client.post(
        "/login/",
        {"username": milker.username, "password": WORD, "csrfmiddlewaretoken": asked_before},
    )
    assert signed.status_code == 302
    assert signed.cookies["csrftoken"].value != asked_before
    late = Client(enforce_csrf_checks=True)
    late.cookies["csrftoken"] = asked_before
    assert "csrftoken" not in late.get("/login/").cookies
    now = client.cookies["csrftoken"].value
    assert client.post("/logout/", {"csrfmiddlewaretoken": now}).status_code == 302


# Others' access


@pytest.mark.parametrize("role", ROLES)
def test_only_office_and_owner_see_the_people(role, milker):
    client = Client()
    client.force_login(user_in(role))
    wanted = 200 if role in (OFFICE, OWNER) else 403
    assert client.get("/people/").status_code == wanted
    assert client.get(f"/people/{milker.pk}/").status_code == (wanted if role != "milker" else 403)


def test_the_office_signs_somebody_out_everywhere(office_client, milker):
    there = signed_in(known(milker))
    office_client.post(f"/people/{milker.pk}/sessions/end/")
    assert there.get("/account/").status_code == 302
    event = AccessEvent.objects.get()
    assert (event.user, event.by.username) == (milker, "office")


def test_the_owner_ends_one_session_of_somebody(owner_client, milker):
    one, two = signed_in(known(milker)), signed_in(milker)
    row = Session.objects.get(pk=one.cookies["sessionid"].value)
    owner_client.post(f"/people/{milker.pk}/sessions/{row.uuid}/end/")
    assert [one.get("/account/").status_code, two.get("/account/").status_code] == [302, 200]


def test_whoever_leaves_is_out_at_once_with_sessions_and_tokens(office, milker):
    there, office_client = signed_in(known(milker)), signed_in(known(office))
    kept, token = MachineToken.objects.create(milker, name="x", scopes=["read"])
    head = {"Authorization": f"Token {token}"}
    assert Client().get("/api/animals/", headers=head).status_code == 200
    page = f"/people/{milker.pk}/switch/"
    assert office_client.post(page, {"password": "wrong"}).status_code == 422
    assert there.get("/account/").status_code == 200
    assert office_client.post(page, {"password": WORD}).status_code == 302
    assert there.get("/account/").status_code == 302
    assert Client().get("/api/animals/", headers=head).status_code == 401
    assert not Session.objects.filter(user=milker).exists()
    assert not MachineToken.objects.exists()
    # Coming back brings nothing back that was open before.
    assert office_client.post(page, {"password": WORD}).status_code == 302
    assert there.get("/account/").status_code == 302
    assert Client().get("/api/animals/", headers=head).status_code == 401
    assert signed_in(milker).get("/account/").status_code == 200


def test_the_command_ends_sessions_and_tokens_too(milker):
    there = signed_in(known(milker))
    MachineToken.objects.create(milker, name="x", scopes=["read"])
    call_command("person", milker.username, "--leaves", verbosity=0)
    assert there.get("/account/").status_code == 302
    assert not Session.objects.filter(user=milker).exists()
    assert not MachineToken.objects.exists()


def test_nobody_switches_themselves_off(office):
    client = signed_in(known(office))
    assert client.post(f"/people/{office.pk}/switch/", {"password": WORD}).status_code == 403
    assert User.objects.get(pk=office.pk).is_active


# Signing in


def test_the_words_do_not_tell_whether_a_name_exists(milker, stockman):
    known(milker)
    known(stockman)
    User.objects.filter(pk=stockman.pk).update(is_active=False)
    told = set()
    for name in (milker.username, "nobody-of-that-name", stockman.username):
        word = WORD if name == stockman.username else "wrong"
        answer = Client().post("/login/", {"username": name, "password": word})
        told.add(text(answer).split('role="alert">')[1].split("</div>")[0])
    assert len(told) == 1


def test_one_address_does_not_try_many_names(db):
    client = Client()
    answers = [
        client.post("/login/", {"username": f"name{number}", "password": "x"}).status_code
        for number in range(62)
    ]
    assert answers == [200] * 60 + [429] * 2
    assert Client(REMOTE_ADDR="192.0.2.9").post("/login/", {"username": "a"}).status_code == 200
    asked = {"username": "name", "password": "x"}
    assert client.post("/api/tokens/", asked, content_type="application/json").status_code == 429
