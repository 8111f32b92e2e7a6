"""Phones that several people use: bound by a link, each person by a short PIN, withdrawn for good.

A PIN counts on a bound phone only, and opens no more than the roles of people who work with their
hands: whoever is also the vet signs in with the password for that.
"""

import secrets
from collections.abc import Sequence
from contextlib import suppress
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Any

from django.conf import settings
from django.contrib.auth.hashers import check_password, make_password
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.access import events, limits
from config.access.models import Pin, Session, SharedPhone
from config.errors import Conflict
from config.roles import (
    CHEESEMAKER,
    FEED_HAND,
    MILKER,
    STOCKMAN,
    STORE_HAND,
    UserWithRoles,
    roles_of,
)

BY_PIN = "config.access.phones.ByPin"
# Whose work is on a shared phone, and all that a PIN opens.
PHONE_ROLES = (MILKER, FEED_HAND, STOCKMAN, CHEESEMAKER, STORE_HAND)
# A link is for the phone in the other hand, not for a drawer.
LINK_FOR = timedelta(hours=24)
# Browsers keep no cookie longer than 400 days (RFC 6265bis, from memory); it is renewed with use.
COOKIE_FOR = timedelta(days=400)
SEEN_EVERY = timedelta(minutes=1)
# No letters that look alike, for whoever types the link.
LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
SHORTEST, LONGEST = 4, 6

PIN_SHAPE = N_("Expected {least} to {most} figures.")
PIN_EASY = N_(
    "This PIN is among the first that somebody tries: the same figure again, figures in a row, a "
    "pair again and again, or a year. Choose another."
)
NOT_BY_PIN = N_(
    "A PIN is for those who share a phone: {roles}. Your role signs in with the password."
)
WITHDRAWN_ALREADY = N_("{phone} was withdrawn already, by {who}.")
LINK_USED = N_("This link has been used meanwhile. Ask for another one.")


def new_secret() -> str:
    """A secret of 25 letters in blocks (123 bits)."""
    return "-".join("".join(secrets.choice(LETTERS) for _ in range(5)) for _ in range(5))


def digest_of(secret: str) -> str:
    """What is kept of a secret that is long and random."""
    return sha256(secret.encode()).hexdigest()


# ---- phones


def make_link(*, name: str, by: User, at: datetime) -> tuple[SharedPhone, str]:
    """A phone that is to be bound, and the secret of its link, shown once."""
    secret = new_secret()
    phone = SharedPhone(
        name=name, made_by=by, link_digest=digest_of(secret), link_until=at + LINK_FOR
    )
    phone.full_clean()
    phone.save(force_insert=True)
    return phone, secret


def open_links(at: datetime) -> QuerySet[SharedPhone]:
    """The phones whose link still opens."""
    return SharedPhone.objects.filter(key_digest=None, withdrawn_at=None, link_until__gt=at)


def phone_of_link(secret: str, at: datetime) -> SharedPhone | None:
    """The phone a link is for; None for one that nobody made, was used, or is too old."""
    return open_links(at).filter(link_digest=digest_of(secret)).first()


def bind(phone: SharedPhone, at: datetime) -> str:
    """Bind the phone in hand. Returns its key, for its cookie. Raises Conflict when it is bound."""
    key = new_secret()
    if not open_links(at).filter(pk=phone.pk).update(key_digest=digest_of(key), bound_at=at):
        raise Conflict(_(LINK_USED))
    return key


def give_key(answer: HttpResponse, key: str) -> None:
    """Let the phone keep its key, where no script reads it."""
    answer.set_cookie(
        settings.PHONE_COOKIE_NAME,
        key,
        max_age=COOKIE_FOR,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def phone_here(request: HttpRequest) -> SharedPhone | None:
    """The shared phone a request comes from; None from any other device, or when withdrawn."""
    key = request.COOKIES.get(settings.PHONE_COOKIE_NAME, "")
    if not key:
        return None
    phone = SharedPhone.objects.filter(key_digest=digest_of(key), withdrawn_at=None).first()
    now = timezone.now()
    if phone and (phone.seen_at is None or phone.seen_at < now - SEEN_EVERY):
        with suppress(DatabaseError):
            SharedPhone.objects.filter(pk=phone.pk).update(seen_at=now)
    return phone


@transaction.atomic
def withdraw(phone: SharedPhone, *, by: User, at: datetime) -> None:
    """Withdraw a phone for good: whoever is signed in on it is out at once. Raises Conflict."""
    rows = SharedPhone.objects.filter(pk=phone.pk, withdrawn_at=None)
    if not rows.update(withdrawn_at=at, withdrawn_by=by):
        phone.refresh_from_db()
        raise Conflict(_(WITHDRAWN_ALREADY).format(phone=phone, who=phone.withdrawn_by))
    Session.objects.filter(phone=phone).delete()


# ---- PINs


def is_easy(pin: str) -> bool:
    """Whether a PIN is among the first that somebody tries."""
    steps = {(int(after) - int(before)) % 10 for before, after in zip(pin, pin[1:], strict=False)}
    in_pairs = len(pin) % 2 == 0 and pin == pin[:2] * (len(pin) // 2)
    is_year = len(pin) == 4 and pin[:2] in ("19", "20")
    return steps in ({0}, {1}, {9}) or in_pairs or is_year


def check_pin_fit(pin: str) -> None:
    """Raise ValidationError at ``pin`` for one that is no PIN, or that is guessed at once."""
    if not (pin.isascii() and pin.isdigit() and SHORTEST <= len(pin) <= LONGEST):
        raise ValidationError({"pin": _(PIN_SHAPE).format(least=SHORTEST, most=LONGEST)})
    if is_easy(pin):
        raise ValidationError({"pin": _(PIN_EASY)})


def may_have_pin(user: User) -> bool:
    """Whether somebody's work is on a shared phone."""
    return bool(set(roles_of(user)) & set(PHONE_ROLES))


def set_pin(user: User, pin: str, *, request: HttpRequest) -> None:
    """Give somebody a PIN; they are signed out of every shared phone. Raises ValidationError."""
    if not may_have_pin(user):
        raise ValidationError(_(NOT_BY_PIN).format(roles=", ".join(map(_, PHONE_ROLES))))
    check_pin_fit(pin)
    kept = {"scrambled": make_password(pin), "made_at": timezone.now()}
    with transaction.atomic():
        Pin.objects.update_or_create(user=user, defaults=kept)
        Session.objects.filter(user=user).exclude(phone=None).delete()
        events.keep(user, events.PIN_SET, by=user, request=request)
    for rule in (limits.PIN, limits.PIN_AT_ALL):
        limits.was_right(rule, user.pk)


def end_pin(
    user: User, *, what: str = events.PIN_ENDED, by: User | None, request: HttpRequest
) -> None:
    """End somebody's PIN and what is open with it."""
    with transaction.atomic():
        Pin.objects.filter(user=user).delete()
        Session.objects.filter(user=user).exclude(phone=None).delete()
        events.keep(user, what, by=by, request=request)


def people_on_phones() -> Sequence[User]:
    """Who can sign in with a PIN, by name; shown on bound phones only."""
    people = User.objects.filter(
        is_active=True, groups__name__in=PHONE_ROLES, pk__in=Pin.objects.values("user")
    ).distinct()
    return sorted(people, key=lambda user: (user.get_full_name() or user.username).casefold())


def is_right(
    user: User, pin: str, phone: SharedPhone, at: datetime, *, request: HttpRequest
) -> bool:
    """Whether this is the PIN of somebody who may use it. Raises TooOften after too many.

    Wrong ones count for the person, whatever phone they come from, and for the phone. After too
    many over weeks the PIN is spent.
    """
    limits.count_try(limits.PHONE, phone.uuid, at)
    limits.count_try(limits.PIN, user.pk, at)
    try:
        limits.count_try(limits.PIN_AT_ALL, user.pk, at)
    except limits.TooOften:
        if Pin.objects.filter(user=user).exists():
            end_pin(user, what=events.PIN_SPENT, by=None, request=request)
        raise
    kept = Pin.objects.filter(user=user).first()
    if kept is None or not check_password(pin, kept.scrambled):
        return False
    limits.was_right(limits.PIN, user.pk)
    limits.was_right(limits.PIN_AT_ALL, user.pk)
    return True


class ByPin(UserWithRoles):
    """Who is signed in with a PIN: no more than the roles of shared phones, while the PIN stands.

    Nobody is authenticated here; the page of the PIN does that.
    """

    def authenticate(self, request: HttpRequest | None, **credentials: Any) -> None:  # type: ignore[override]
        """Nobody signs in by a name and a password here."""

    def get_user(self, user_id: Any) -> User | None:
        """The user of a session, with the roles that count on a shared phone."""
        found = super().get_user(user_id)
        if found is not None:
            names: list[str] = found.role_names  # type: ignore[attr-defined]
            found.role_names = [name for name in names if name in PHONE_ROLES]  # type: ignore[attr-defined]
        return found
