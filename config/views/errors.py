"""Everything that goes wrong on a page, shown in words; under /api/ the same as problem+json."""

import sys
from collections.abc import Callable

from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils.cache import patch_vary_headers
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.errors import (
    BAD_VALUE,
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
        heading = _(WORDS.get(found.status, found.title))
        told = {"problem": found, "heading": heading}
        if found.status == 503:
            # Nothing may be asked of a database that does not answer, not even who reads this.
            request.user = AnonymousUser()
            told |= {"user": request.user, "messages": ()}
        answer = render(request, "problem.html", told, status=found.status)
    for name, value in found.headers.items():
        answer[name] = value
    return answer


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
