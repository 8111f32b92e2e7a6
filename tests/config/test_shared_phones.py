"""Phones that several people use: bound by a link, a PIN for each person, withdrawn for good."""

import re
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.contrib.auth.hashers import identify_hasher
from django.contrib.auth.models import Group as Role
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.test import Client
from django.utils import timezone

from config.access import phones
from config.errors import Conflict
from config.models import AccessEvent, Pin, Session, SharedPhone
from config.roles import ACTIONS, OFFICE, ROLES, VET
from herd.models import HealthEvent
from tests.cast import text, user_in
from tests.factories.herd import make_animal

pytestmark = pytest.mark.django_db
WORD, PIN = "a long enough word 77", "4071"


def with_pin(user, pin=PIN):
    user.set_password(WORD)
    user.save()
    client = Client()
    client.force_login(user)
    answer = client.post("/account/pin/", {"pin": pin, "again": pin, "password": WORD})
    assert answer.status_code == 302, text(answer)
    return user


def bound(vet, name="parlour, red"):
    """A phone that is shared: a browser with its key, and its row."""
    _, secret = phones.make_link(name=name, by=vet, at=timezone.now())
    client = Client()
    answer = client.post(f"/phones/bind/{secret}/")
    assert (answer.status_code, answer.url) == (302, "/login/")
    return client, SharedPhone.objects.get(name=name)


def sign_in(client, user, pin=PIN, **more):
    return client.post("/login/pin/", {"person": user.pk, "pin": pin, **more})


def is_in(client):
    return client.get("/account/").status_code == 200


# Binding


@pytest.mark.parametrize("role", ROLES)
def test_only_vet_and_office_hand_out_phones(role):
    client = Client()
    client.force_login(user_in(role))
    wanted = 200 if role in (VET, OFFICE) else 403
    assert client.get("/phones/").status_code == wanted
    assert client.post("/phones/", {"name": "red"}).status_code == wanted
    assert SharedPhone.objects.exists() is (wanted == 200)


def test_the_link_is_shown_once_and_kept_nowhere(vet_client):
    page = vet_client.post("/phones/", {"name": "parlour, red"})
    link = re.search(r"/phones/bind/([a-z0-9-]+)/", text(page))[1]
    assert b"<svg" in page.content
    assert "no-store" in page["Cache-Control"]
    assert link not in text(vet_client.get("/phones/"))
    assert link not in str(SharedPhone.objects.values_list())
    assert phones.phone_of_link(link, timezone.now()).name == "parlour, red"


def test_a_link_opens_once(vet):
    _, secret = phones.make_link(name="red", by=vet, at=timezone.now())
    first, second = Client(), Client()
    assert first.get(f"/phones/bind/{secret}/").status_code == 200
    # To look at it binds nothing: programs open links ahead.
    assert SharedPhone.objects.get().key_digest is None
    answer = first.post(f"/phones/bind/{secret}/")
    cookie = answer.cookies["phone"]
    assert cookie["httponly"]
    assert cookie["samesite"] == "Lax"
    assert cookie.value not in str(SharedPhone.objects.values_list())
    assert second.get(f"/phones/bind/{secret}/").status_code == 404
    assert second.post(f"/phones/bind/{secret}/").status_code == 404
    assert "phone" not in second.cookies
    with pytest.raises(Conflict):
        phones.bind(SharedPhone.objects.get(), timezone.now())


def test_a_link_is_too_old_after_a_day(vet):
    at = timezone.now() - timedelta(hours=24, minutes=1)
    _, secret = phones.make_link(name="red", by=vet, at=at)
    assert Client().get(f"/phones/bind/{secret}/").status_code == 404


def test_no_line_holds_the_secret_of_a_link(vet, caplog):
    made, secret = phones.make_link(name="red", by=vet, at=timezone.now())
    with caplog.at_level("INFO", logger="swardline.requests"):
        Client().get(f"/phones/bind/{secret}/")
    told = [record.told for record in caplog.records if hasattr(record, "told")]
    assert [line["path"] for line in told] == ["/phones/bind/…/"]


def test_guessing_links_ends():
    answers = [Client().get(f"/phones/bind/x{number}/").status_code for number in range(11)]
    assert answers == [404] * 10 + [429]


def test_whoever_was_signed_in_is_out_when_the_phone_is_bound(vet):
    _, secret = phones.make_link(name="red", by=vet, at=timezone.now())
    client = Client()
    client.force_login(vet)
    client.post(f"/phones/bind/{secret}/")
    assert not is_in(client)


def test_the_database_keeps_phones_and_their_end(vet):
    _, phone = bound(vet)
    phones.withdraw(phone, by=vet, at=timezone.now())
    for change in ({"name": "another"}, {"withdrawn_at": None, "withdrawn_by": None}):
        with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
            SharedPhone.objects.update(**change)
    with pytest.raises(IntegrityError, match="never deleted"), transaction.atomic():
        SharedPhone.objects.all().delete()
    with pytest.raises(Conflict, match="withdrawn already"):
        phones.withdraw(phone, by=vet, at=timezone.now())


# PINs


@pytest.mark.parametrize(
    "pin", ["123", "1234567", "12a4", "", "٣٤٥٦", "0000", "1234", "4321", "7890", "1212", "1987",
            "2024", "454545", "987654"],
)  # fmt: skip
def test_what_is_no_pin_or_easy_is_refused(pin, milker):
    with pytest.raises(ValidationError):
        phones.check_pin_fit(pin)


@pytest.mark.parametrize("pin", ["4071", "90210", "318462"])
def test_others_are_taken(pin):
    phones.check_pin_fit(pin)


def test_a_pin_is_kept_scrambled_and_chosen_with_the_password(milker, client):
    with_pin(milker)
    kept = Pin.objects.get()
    assert PIN not in kept.scrambled
    assert identify_hasher(kept.scrambled).verify(PIN, kept.scrambled)
    client.force_login(milker)
    for fields in (
        {"pin": "5172", "again": "5172", "password": "wrong"},
        {"pin": "5172", "again": "5173", "password": WORD},
        {"pin": "1111", "again": "1111", "password": WORD},
    ):
        assert client.post("/account/pin/", fields).status_code == 422
    kept.refresh_from_db()
    assert phones.check_password(PIN, kept.scrambled)


@pytest.mark.parametrize("role", ROLES)
def test_who_works_with_their_hands_may_have_one(role):
    user, client = user_in(role), Client()
    user.set_password(WORD)
    user.save()
    client.force_login(user)
    client.post("/account/pin/", {"pin": PIN, "again": PIN, "password": WORD})
    assert Pin.objects.exists() is (role in phones.PHONE_ROLES)


def test_a_pin_counts_on_a_bound_phone_only(vet, milker):
    with_pin(milker)
    stranger = Client()
    assert sign_in(stranger, milker).url == "/login/"
    assert not is_in(stranger)
    stranger.cookies["phone"] = "k7m2p-9xq4r-aaaaa-bbbbb-ccccc"
    sign_in(stranger, milker)
    assert not is_in(stranger)
    assert milker.username not in text(stranger.get("/login/"))
    phone, row = bound(vet)
    assert milker.username in text(phone.get("/login/"))
    answer = sign_in(phone, milker, next="/herd/withheld/")
    assert (answer.status_code, answer.url) == (302, "/herd/withheld/")
    assert is_in(phone)
    assert Session.objects.filter(user=milker, phone=row).count() == 1


def test_after_the_pin_nobody_is_led_to_another_site(vet, milker):
    phone, _ = bound(vet)
    assert sign_in(phone, with_pin(milker), next="https://example.org/").url == "/"


def test_the_session_has_a_new_number_and_the_next_person_another(vet, milker, stockman):
    phone, _ = bound(vet)
    with_pin(milker)
    with_pin(stockman, "90210")
    sign_in(phone, milker)
    first = phone.cookies["sessionid"].value
    sign_in(phone, stockman, "90210")
    assert phone.cookies["sessionid"].value != first
    assert not Session.objects.filter(pk=first).exists()
    assert "stockman" in text(phone.get("/account/"))


def kept_sent(phone: Any, writer: Any, fields: dict[str, Any]) -> Any:
    """The answer to a sign that a phone had kept and now sends in its writer's name."""
    number, now = str(uuid4()), timezone.now().isoformat()
    return phone.post(
        "/entries/health-events/new/",
        {**fields, "once": number},
        headers={
            "Phone-Entry": number,
            "Phone-User": str(writer.pk),
            "Phone-Device": "abc123",
            "Phone-Now": now,
            "Phone-Written": now,
        },
    )


def test_what_is_written_carries_the_person(vet, milker, stockman):
    phone, _ = bound(vet)
    animal = make_animal()
    sign_in(phone, with_pin(stockman))
    fields = {"animal": animal.uuid, "sign": "off feed", "happened_at": timezone.now().isoformat()}
    answer = kept_sent(phone, stockman, fields)
    assert answer.status_code == 200, text(answer)[:2000]
    written = HealthEvent.objects.get()
    assert (written.by, written.device) == (stockman, "phone abc123")
    # Nothing is sent in the name of somebody who is not signed in now.
    sign_in(phone, with_pin(milker, "90210"), "90210")
    answer = kept_sent(phone, stockman, fields)
    assert (answer.status_code, answer.json()["why"]) == (409, "another")


def test_guessing_a_pin_ends_for_the_person_on_every_phone(vet, milker):
    one, _ = bound(vet)
    two, _ = bound(vet, "blue")
    with_pin(milker)
    answers = [sign_in(one, milker, "9999").status_code for _ in range(6)]
    assert answers == [422] * 5 + [429]
    assert sign_in(two, milker).status_code == 429
    assert not is_in(two)


def test_a_phone_that_guesses_for_many_ends(vet, settings):
    phone, row = bound(vet)
    people = []
    for number in range(9):
        user = user_in("milker")
        user.pk, user.username = None, f"milker{number}"
        user.save()
        user.groups.add(Role.objects.get(name="milker"))
        Pin.objects.create(user=user, scrambled="x")
        people.append(user)
    answers = [sign_in(phone, user, "9999").status_code for user in people for _ in range(5)]
    assert answers == [422] * 40 + [429] * 5


def test_a_pin_that_is_guessed_at_for_weeks_is_spent(vet, milker):
    phone, row = bound(vet)
    with_pin(milker)
    now = timezone.now()
    request = phone.get("/login/").wsgi_request
    for number in range(15):
        at = now + timedelta(hours=number)
        assert not phones.is_right(milker, "9999", row, at, request=request)
    with pytest.raises(phones.limits.TooOften):
        phones.is_right(milker, "9999", row, now + timedelta(days=1), request=request)
    assert not Pin.objects.exists()
    assert AccessEvent.objects.filter(what="pin spent", user=milker).exists()
    with_pin(milker, "90210")
    assert sign_in(phone, milker, "90210").status_code == 302


def test_a_wrong_pin_and_a_person_without_one_are_told_alike(vet, milker, stockman):
    phone, _ = bound(vet)
    with_pin(milker)
    assert "This is not the PIN" in text(sign_in(phone, milker, "9999"))
    # Somebody who is not on the list cannot be asked for.
    assert sign_in(phone, stockman, "9999").status_code == 422
    assert not is_in(phone)


# What a PIN opens


@pytest.mark.parametrize("other", [VET, OFFICE, "owner", "inspector", "laboratory"])
def test_a_pin_opens_only_the_roles_of_shared_phones(vet, milker, other):
    milker.groups.add(Role.objects.get_or_create(name=other)[0])
    phone, _ = bound(vet)
    sign_in(phone, with_pin(milker))
    page = phone.get("/roles/")
    assert page.context["mine"] == ("milker",)
    for path in ("/people/", "/phones/"):
        assert phone.get(path).status_code == 403
    forbidden = [
        slug
        for action, roles in ACTIONS.items()
        for verb, _, slug in [action.partition(":")]
        if verb == "write" and "milker" not in roles
    ]
    assert len(forbidden) > 50
    for slug in forbidden[::6]:
        answer = phone.post(f"/entries/{slug}/new/", {"once": uuid4()})
        assert answer.status_code == 403, slug


def test_a_pin_does_not_change_who_somebody_is(vet, milker):
    phone, _ = bound(vet)
    sign_in(phone, with_pin(milker))
    for path in ("password/", "pin/", "code/", "code/end/", "code/recovery/"):
        assert phone.get(f"/account/{path}").status_code == 403
        assert phone.post(f"/account/{path}", {"password": WORD}).status_code == 403
    assert "signed in with your PIN" in text(phone.get("/account/"))


def test_a_password_on_a_shared_phone_opens_its_own_but_for_a_short_time(vet, settings):
    phone, row = bound(vet)
    vet.set_password(WORD)
    vet.save()
    phone.post("/login/", {"username": "vet", "password": WORD})
    assert phone.get("/phones/").status_code == 200
    minutes = timedelta(minutes=settings.SHARED_PHONE_IDLE_MINUTES + 1)
    Session.objects.filter(phone=row).update(seen_at=timezone.now() - minutes)
    assert not is_in(phone)


# The end


def test_a_withdrawn_phone_is_out_at_once_and_stays_out(vet, vet_client, milker):
    phone, row = bound(vet)
    sign_in(phone, with_pin(milker))
    vet_client.post(f"/phones/{row.uuid}/withdraw/")
    assert not is_in(phone)
    sign_in(phone, milker)
    assert not is_in(phone)
    assert milker.username not in text(phone.get("/login/"))
    assert "Withdrawn" in text(vet_client.get("/phones/"))


def test_a_withdrawn_link_opens_no_more(vet, vet_client):
    made, secret = phones.make_link(name="red", by=vet, at=timezone.now())
    vet_client.post(f"/phones/{made.uuid}/withdraw/")
    assert Client().post(f"/phones/bind/{secret}/").status_code == 404


@pytest.mark.parametrize("how", ["idle", "whole"])
def test_a_session_on_a_shared_phone_is_short(vet, milker, settings, how):
    phone, _ = bound(vet)
    sign_in(phone, with_pin(milker))
    now = timezone.now()
    short = timedelta(minutes=settings.SHARED_PHONE_IDLE_MINUTES)
    whole = timedelta(hours=settings.SHARED_PHONE_HOURS)
    column, length = ("seen_at", short) if how == "idle" else ("since", whole)
    of_it = Session.objects.exclude(phone=None)
    of_it.update(**{column: now - length + timedelta(minutes=1)})
    assert is_in(phone)
    of_it.update(**{column: now - length - timedelta(minutes=1)})
    assert not is_in(phone)


@pytest.mark.parametrize("how", ["own", "office", "leaves", "new pin", "password"])
def test_what_is_open_by_a_pin_ends_with_it(vet, milker, office_client, how):
    phone, _ = bound(vet)
    sign_in(phone, with_pin(milker))
    other = Client()
    other.force_login(milker)
    if how == "own":
        other.post("/account/pin/end/")
    elif how == "office":
        office_client.post(f"/people/{milker.pk}/pin/end/")
    elif how == "leaves":
        phones.User.objects.filter(pk=milker.pk).update(is_active=False)
    elif how == "new pin":
        with_pin(milker, "90210")
    else:
        fields = {"password": WORD, "new": "quite another word 78"}
        other.post("/account/password/", {**fields, "again": fields["new"]})
    assert not is_in(phone)
    if how not in ("password",):
        sign_in(phone, milker)
        assert not is_in(phone)
