"""Signing in and out: what a session says of itself, how long it lasts, and its end."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.conf import settings
from django.contrib.auth import login
from django.contrib.auth.models import User
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.access import events
from config.access.models import MachineToken, Session, SharedPhone
from config.access.store import ADDRESS, BROWSER, PHONE
from config.client_address import address_of

BACKEND = "config.roles.UserWithRoles"
LONGEST_BROWSER = 200
# Enough to tell one's own devices apart; the whole text is a browser's business.
BROWSERS = (("Edg", "Edge"), ("Firefox", "Firefox"), ("Chrom", "Chrome"), ("Safari", "Safari"))
SYSTEMS = (
    ("Android", "Android"),
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Windows", "Windows"),
    ("Mac OS", "Mac"),
    ("Linux", "Linux"),
)
UNKNOWN = N_("an unknown browser")


def begin(
    request: HttpRequest, user: User, *, backend: str = BACKEND, phone: SharedPhone | None
) -> None:
    """Sign a user in on this browser: a session with a new number that says where it is.

    ``phone``: the shared phone this is; the session is short there, and ends with it.
    """
    login(request, user, backend=backend)
    request.session[ADDRESS] = address_of(request) or ""
    request.session[BROWSER] = request.headers.get("User-Agent", "")[:LONGEST_BROWSER]
    if phone is not None:
        request.session[PHONE] = phone.pk
    whole = longest(roles=[], on_phone=phone is not None)
    request.session.set_expiry(timezone.now() + whole)


def idle(roles: Iterable[str], *, on_phone: bool) -> timedelta:
    """After how long without anything done a session is over."""
    if on_phone:
        return timedelta(minutes=settings.SHARED_PHONE_IDLE_MINUTES)
    hours = [settings.SESSION_IDLE_HOURS[role] for role in roles]
    return timedelta(hours=min(hours, default=max(settings.SESSION_IDLE_HOURS.values())))


def longest(roles: Iterable[str], *, on_phone: bool) -> timedelta:
    """After how long a session is over, whatever is done."""
    if on_phone:
        return timedelta(hours=settings.SHARED_PHONE_HOURS)
    days = [settings.SESSION_DAYS[role] for role in roles]
    return timedelta(days=min(days, default=max(settings.SESSION_DAYS.values())))


def is_over(row: Session, roles: Iterable[str], at: datetime) -> bool:
    """Whether a session has been idle, or has lasted, for too long."""
    on_phone = row.phone_id is not None
    known = list(roles)
    return at - row.seen_at > idle(known, on_phone=on_phone) or at - row.since > longest(
        known, on_phone=on_phone
    )


def standing(user: User) -> QuerySet[Session]:
    """The sessions of a user, the last seen first."""
    rows = Session.objects.filter(user=user, expire_date__gt=timezone.now())
    return rows.select_related("phone").order_by("-seen_at")


def end(rows: QuerySet[Session]) -> int:
    """End sessions at once; the number ended."""
    return rows.delete()[0]


def end_others(user: User, request: HttpRequest) -> int:
    """End all sessions of a user but the one of this request; the number ended."""
    return end(Session.objects.filter(user=user).exclude(pk=request.session.session_key or ""))


def switch_off(user: User, *, by: User | None = None, request: HttpRequest | None = None) -> None:
    """Somebody leaves: no sign-in, no session and no token of theirs counts from now on."""
    User.objects.filter(pk=user.pk).update(is_active=False)
    user.is_active = False
    end(Session.objects.filter(user=user))
    MachineToken.objects.filter(user=user).delete()
    events.keep(user, events.SWITCHED_OFF, by=by, request=request)


def browser_words(text: str) -> str:
    """A browser as its owner would say it: "Firefox, Android"."""
    found = [
        next((word for mark, word in known if mark in text), "") for known in (BROWSERS, SYSTEMS)
    ]
    return ", ".join(filter(None, found)) or _(UNKNOWN)
