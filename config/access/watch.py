"""Middleware: sessions that were idle or lasted for too long are over; the others are seen."""

from collections.abc import Callable
from contextlib import suppress
from datetime import timedelta

from django.conf import settings
from django.contrib.auth import logout
from django.contrib.auth.models import AnonymousUser, User
from django.contrib.sessions.middleware import SessionMiddleware
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.access import codes
from config.access.models import Session
from config.access.sessions import is_over
from config.errors import PROBLEM_JSON, problem
from config.language import SHARED
from config.roles import roles_of

# That a session was seen is written this often.
SEEN_EVERY = timedelta(minutes=1)
# Also without codes: to set them up, to read it in another language, and out.
ON_THE_WAY = ("/account/code/", "/logout/", "/language/", "/login/", "/sw.js", "/queue/")
FIRST_A_CODE = N_(
    "Set up one-time codes first, at /account/code/: the vet, the office and the owner sign in "
    "with them."
)
# What a page asks by itself, every few seconds, says nothing of a person being there.
BY_ITSELF = "/phone/"


class Sessions(SessionMiddleware):
    """Django's own, but for the race of a fetch with a session that has got another number.

    What a script fetched with the number of before, and is answered afterwards, finds no session;
    its answer must not take away the cookie that came meanwhile.
    """

    def process_response(self, request: HttpRequest, response: HttpResponse) -> HttpResponse:
        answer: HttpResponse = super().process_response(request, response)
        cookie = answer.cookies.get(settings.SESSION_COOKIE_NAME)
        if cookie is not None and cookie["max-age"] == 0 and not is_by_hand(request):
            del answer.cookies[settings.SESSION_COOKIE_NAME]
        return answer


class FormNumbers:
    """Put it above Django's check of form numbers: a number the browser has is not sent again.

    Django sends the cookie with every page that has a form, so that it lasts longer. What was asked
    for before somebody signed in, and is answered after it, would bring the old number back, and
    the form that stands open would be refused.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        answer = self.get_response(request)
        cookie = answer.cookies.get(settings.CSRF_COOKIE_NAME)
        if cookie is not None and cookie.value == request.COOKIES.get(settings.CSRF_COOKIE_NAME):
            del answer.cookies[settings.CSRF_COOKIE_NAME]
        return answer


class Watch:
    """Put it behind the middleware that finds out who is signed in."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        # A page for anybody is the same for all: to ask who reads it would keep caches from it.
        asked = request.session.session_key is not None and not request.path.startswith(SHARED)
        if asked and request.user.is_authenticated:
            self.look(request)
            if not is_on_the_way(request.path) and must_set_up(request.user):
                return first_a_code(request)
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


def must_set_up(user: User | AnonymousUser) -> bool:
    """Whether somebody must set up their codes before anything else."""
    return isinstance(user, User) and codes.is_missing(user, timezone.now())


def is_on_the_way(path: str) -> bool:
    """Whether somebody who must set up their codes first may go there: it leads to that, or out."""
    return path.startswith(ON_THE_WAY) or path == BY_ITSELF


def first_a_code(request: HttpRequest) -> HttpResponse:
    """Lead to the page where the codes are set up; a program is told in words."""
    if request.path.startswith("/api/"):
        body = problem(403, _(FIRST_A_CODE)).body()
        return JsonResponse(body, status=403, content_type=PROBLEM_JSON)
    if "Phone-Entry" in request.headers:
        # As for somebody signed out: the entry waits on the phone.
        return JsonResponse({"words": [_(FIRST_A_CODE)]}, status=401)
    return redirect("account-code")


def is_by_hand(request: HttpRequest) -> bool:
    """Whether a person asked for this, rather than a page that renews itself."""
    if request.path == BY_ITSELF:
        return False
    # A browser says so of what a script fetches; other programs say nothing.
    fetched = request.headers.get("Sec-Fetch-Mode", "navigate") != "navigate"
    return not fetched or request.method != "GET" or "HX-Request" in request.headers
