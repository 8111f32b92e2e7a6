"""Tokens of programs: each may do a part of what its person may, for a time, and can be ended."""

from collections.abc import Sequence
from contextlib import suppress
from datetime import timedelta
from typing import Any

from django.contrib.auth.models import AnonymousUser, User
from django.core.exceptions import ValidationError
from django.db import DatabaseError
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from drf_spectacular.contrib.knox_auth_token import KnoxTokenScheme
from knox.auth import TokenAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from config.access import events, limits
from config.access.models import MachineToken
from config.client_address import address_of
from config.roles import ACTIONS, may

LONGEST_DAYS, USUAL_DAYS = 365, 90
SEEN_EVERY = timedelta(minutes=1)
# The first of these that somebody may do is what a token of theirs may, unless more is asked for.
LEAST = ("read", "send in results")
# By hand only, and by somebody who is there.
NEVER = ("look after people", "hand out phones", "hang up walls")
NOT_YOURS = N_("“{scope}” is nothing a token of yours may do. Expected some of: {allowed}.")
NOTHING = N_("Your role may do nothing that a program could do for you. Ask the office for a role.")
NO_TOKEN = N_("This token is not known, or it has ended. Make another one.")


def scopes_of(user: User | AnonymousUser) -> list[str]:
    """What a token of somebody could be allowed to do."""
    return [action for action in ACTIONS if action not in NEVER and may(user, action)]


def checked_scopes(user: User, asked: Sequence[str]) -> list[str]:
    """What a new token may do; without a word the least. Raises ValidationError at ``scopes``."""
    allowed = scopes_of(user)
    if not asked:
        least = [scope for scope in LEAST if scope in allowed][:1]
        if not least:
            raise ValidationError({"scopes": _(NOTHING)})
        return least
    for scope in asked:
        if scope not in allowed:
            words = _(NOT_YOURS).format(scope=scope[:60], allowed=", ".join(allowed))
            raise ValidationError({"scopes": words})
    return [scope for scope in ACTIONS if scope in asked]


def make(
    user: User,
    *,
    name: str,
    scopes: Sequence[str] = (),
    days: int = USUAL_DAYS,
    request: HttpRequest | None = None,
) -> tuple[MachineToken, str]:
    """A token and its text, which is shown once. Raises ValidationError by field."""
    allowed = checked_scopes(user, scopes)
    kept, text = MachineToken.objects.create(
        user, expiry=timedelta(days=days), name=name, scopes=allowed
    )
    events.keep(user, events.TOKEN_MADE, name, by=user, request=request)
    return kept, text


def end(token: MachineToken, *, by: User | AnonymousUser, request: HttpRequest) -> None:
    """End a token: it is worthless from now on."""
    events.keep(token.user, events.TOKEN_ENDED, token.name, by=by, request=request)
    token.delete()


def standing(user: User) -> QuerySet[MachineToken]:
    """The tokens of a user that have not ended, the newest first."""
    rows: QuerySet[MachineToken] = MachineToken.objects.filter(
        user=user, expiry__gt=timezone.now()
    ).order_by("-created")
    return rows


class ByToken(TokenAuthentication):  # type: ignore[misc]
    """``Authorization: Token …``: the person of a token, held to what the token may do."""

    def authenticate(self, request: Request) -> Any:
        """The user and the token, None without one. Wrong ones are counted by address."""
        try:
            found = super().authenticate(request)
        except (AuthenticationFailed, UnicodeError) as error:
            limits.count_try(limits.TOKEN, address_of(request._request), timezone.now())
            raise AuthenticationFailed(_(NO_TOKEN)) from error
        if found is not None:
            user, token = found
            user.scopes = frozenset(token.scopes)
            self.see(token, request)
        return found

    def see(self, token: MachineToken, request: Request) -> None:
        """Write down, once a minute, that a token was used and from where."""
        now = timezone.now()
        if token.seen_at is None or token.seen_at < now - SEEN_EVERY:
            where = address_of(request._request) or ""
            # Where nothing can be written just now, the book can still be read.
            with suppress(DatabaseError):
                MachineToken.objects.filter(pk=token.pk).update(seen_at=now, seen_from=where)


class ByTokenScheme(KnoxTokenScheme):  # type: ignore[no-untyped-call]
    """How the description of the API names it."""

    target_class = "config.access.tokens.ByToken"
    name = "tokenAuth"
