"""Everything that goes wrong on a page, shown in words; under /api/ the same as problem+json."""

import sys
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.contrib.sessions.backends.db import SessionStore
from django.db import DatabaseError, InterfaceError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils.cache import patch_vary_headers
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.errors import (
    BAD_VALUE,
    DATABASE_AWAY,
    NOT_FOUND,
    PROBLEM_JSON,
    Problem,
    problem,
    problem_of,
)

OUR_FAULT = N_(
    "Something went wrong here, not with what you entered. Nothing was saved. Try once more; if it "
    "stays, tell the office what you did and at what time."
)
FORM_TOO_OLD = N_(
    "The form was open for too long, or cookies are switched off. Nothing was saved. Open the form "
    "again and send it from there."
)
LOCKED_OUT = N_(
    "Too many wrong passwords. Signing in with this name is closed for a while; wait, or ask the "
    "office to open it again."
)
AWAY_TO_READERS = N_(
    "The database of the book does not answer just now. Open this page again in a moment."
)
WORDS = {
    400: N_("This could not be read"),
    403: N_("Not for your role"),
    404: N_("Not found"),
    409: N_("This does not go together"),
    413: N_("Too large"),
    422: N_("Sent before"),
    429: N_("Wait a little"),
    500: N_("Our fault"),
    503: N_("Not just now"),
}


class RefusalsAsPages:
    """Middleware: what services and the database refuse, and a page did not catch, in words."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        # A page fetched as a panel has no frame; no cache may give one for the other.
        patch_vary_headers(response, ["HX-Request"])
        return response

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        found = problem_of(error)
        return None if found is None or found.status in (403, 404) else shown(request, found)


def shown(request: HttpRequest, found: Problem) -> HttpResponse:
    """A problem as a page, or as problem+json under /api/."""
    if request.path.startswith("/api/"):
        answer: HttpResponse = JsonResponse(
            found.body(), status=found.status, content_type=PROBLEM_JSON
        )
    else:
        if found.detail == _(DATABASE_AWAY) and request.method in ("GET", "HEAD"):
            found = replace(found, detail=_(AWAY_TO_READERS))
        heading = _(WORDS.get(found.status, found.title))
        told = {"problem": found, "heading": heading}
        if found.status == 503 or not hasattr(request, "user"):
            # What is refused before it is read comes from anybody.
            answer = shown_without_database(request, told)
        else:
            answer = render(request, "problem.html", told, status=found.status)
    for name, value in found.headers.items():
        answer[name] = value
    return answer


def shown_without_database(request: HttpRequest, told: dict[str, Any]) -> HttpResponse:
    """The page while the database does not answer or is not to be asked, not even who reads this.

    What the request had of its reader stays as it was: nobody is signed out by a bad moment.
    """
    had = {name: getattr(request, name) for name in ("user", "session") if hasattr(request, name)}
    request.user, request.session = AnonymousUser(), SessionStore()
    told |= {"user": request.user, "messages": ()}
    status = told["problem"].status
    try:
        return render(request, "problem.html", told, status=status)
    except (DatabaseError, InterfaceError):
        # Something on the page asked all the same; better plain words than none.
        return HttpResponse(told["problem"].detail, content_type="text/plain", status=status)
    finally:
        for name, value in had.items():
            setattr(request, name, value)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    return shown(request, problem_of(exception) or problem(400, _(BAD_VALUE)))


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    return shown(request, problem(403, str(exception)))


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    return shown(request, problem(404, _(NOT_FOUND)))


def our_fault(request: HttpRequest) -> HttpResponse:
    """What nothing caught; Django calls it while the exception is at hand.

    What goes wrong before the page is begun (who reads it is asked of the database) comes here too.
    """
    error = sys.exc_info()[1]
    return shown(request, (error and problem_of(error)) or problem(500, _(OUR_FAULT)))


def form_too_old(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Django's CSRF check failed."""
    return shown(request, problem(403, _(FORM_TOO_OLD)))


def locked_out(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
    """Too many failed sign-ins (django-axes)."""
    return shown(request, problem(429, _(LOCKED_OUT)))
