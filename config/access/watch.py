"""Middleware: sessions that were idle or lasted for too long are over; the others are seen."""

from collections.abc import Callable
from contextlib import suppress
from datetime import timedelta

from django.contrib.auth import logout
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from config.access.models import Session
from config.access.sessions import is_over
from config.roles import roles_of

# That a session was seen is written this often.
SEEN_EVERY = timedelta(minutes=1)
# What a page asks by itself, every few seconds, says nothing of a person being there.
BY_ITSELF = "/phone/"


class Watch:
    """Put it behind the middleware that finds out who is signed in."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.session.session_key is not None and request.user.is_authenticated:
            self.look(request)
        return self.get_response(request)

    def look(self, request: HttpRequest) -> None:
        """End the session when it is over, else write down that it was seen."""
        row: Session | None = getattr(request.session, "row", None)
        now = timezone.now()
        if row is None:
            return
        if is_over(row, roles_of(request.user), now):
            logout(request)
        elif row.seen_at < now - SEEN_EVERY and is_by_hand(request):
            # Of several requests at the same moment one writes; and where nothing can be written
            # just now, the book can still be read.
            with suppress(DatabaseError):
                Session.objects.filter(pk=row.pk, seen_at=row.seen_at).update(seen_at=now)


def is_by_hand(request: HttpRequest) -> bool:
    """Whether a person asked for this, rather than a page that renews itself."""
    if request.path == BY_ITSELF:
        return False
    # A browser says so of what a script fetches; other programs say nothing.
    fetched = request.headers.get("Sec-Fetch-Mode", "navigate") != "navigate"
    return not fetched or request.method != "GET" or "HX-Request" in request.headers
