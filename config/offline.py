"""Entries that come from a phone's queue: read what the phone says, answer so that it can tell.

A page with a form answers a success with a redirect and a refusal with the form again. To a queue
(header ``Phone-Entry``) a redirect is told as JSON, and a refusal gets a status of its own.
"""

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from django.conf import settings
from django.contrib.messages import get_messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.language import language_now
from config.offline_clock import Clocks, Sent, sending, shift_of, utc
from config.offline_pages import KEEP, kept_as
from config.offline_shifts import PHONE

ENTRY = "Phone-Entry"
# A page that the phone keeps for later, and nobody looks at now.
TAKE_ALONG = "Take-Along"
SIGN_IN = N_("You are signed out. The entry stays on this phone; sign in to send it.")
ANOTHER = N_(
    "This entry was written by somebody else. It stays on this phone until they sign in again; "
    "nothing is sent in another’s name."
)
BAD_HEADER = N_(
    "The phone’s {name} is “{text}”; expected {expected}. Nothing was saved; reload the page and "
    "send the entry again."
)
DEVICE = re.compile(r"[A-Za-z0-9-]{1,32}", re.ASCII)
# A file of these a phone may keep; others it cannot show by itself.
SHOWN_BY_PHONES = ("text/html", "application/pdf")


def words_once(request: HttpRequest) -> dict[str, Any]:
    """Context processor: what a page says once, of what was just written.

    A page that is only taken along does not say it: it would be heard by nobody, and stand in the
    kept copy for as long as that is kept.
    """
    return {"messages": [] if TAKE_ALONG in request.headers else get_messages(request)}


class BadHeader(Exception):
    """A header of the queue that cannot be read; the sentence says which."""


def read(request: HttpRequest, name: str, what: Callable[[str], object], expected: str) -> object:
    """One header of the queue. Raises BadHeader."""
    text = request.headers.get(name, "")
    try:
        return what(text)
    except (ValueError, OverflowError) as error:
        words = _(BAD_HEADER).format(name=name, text=text[:60], expected=expected)
        raise BadHeader(words) from error


def device(text: str) -> str:
    if not DEVICE.fullmatch(text):
        raise ValueError(text)
    return text


def moment(text: str) -> datetime:
    found = utc(text)
    if not 2000 <= found.year <= 2200:
        raise ValueError(text)
    return found


def clocks_of(request: HttpRequest) -> Clocks:
    """What the phone says about its clock. Raises BadHeader."""
    expected = _("a moment in UTC, as 2026-06-06T16:30:00Z")
    now = read(request, "Phone-Now", moment, expected)
    written = read(request, "Phone-Written", moment, expected)
    before, contact = None, None
    if request.headers.get("Phone-Contact"):
        contact = read(request, "Phone-Contact", moment, expected)
        seconds = read(request, "Phone-Before", float, _("a number of seconds"))
        before = read(request, "Phone-Before", lambda _: timedelta(seconds=seconds), "seconds")  # type: ignore[arg-type]
    return Clocks(now=now, written=written, before=before, contact=contact)  # type: ignore[arg-type]


def sent_by(request: HttpRequest) -> Sent | None:
    """What a phone sends out of its queue; None for any other request. Raises BadHeader."""
    if request.method != "POST" or ENTRY not in request.headers:
        return None
    number = read(request, ENTRY, UUID, _("the number of an entry"))
    user = read(request, "Phone-User", int, _("the number of a user"))
    name = read(request, "Phone-Device", device, _("a name of letters and figures"))
    clocks, now = clocks_of(request), timezone.now()
    tolerance = timedelta(minutes=settings.PHONE_CLOCK_MINUTES)
    shift, sure = shift_of(clocks, now, tolerance)
    return Sent(
        number=number,  # type: ignore[arg-type]
        user=user,  # type: ignore[arg-type]
        device=f"{PHONE}{name}",
        # Nothing was written later than it arrived, whatever the rounding says.
        written_at=min(clocks.written + shift, now.astimezone(UTC)),
        shift=shift,
        sure=sure,
        texts=times_of(request),
    )


def times_of(request: HttpRequest) -> frozenset[str] | None:
    """The times of a form that are by the phone's clock, as they stand in it; None under /api/."""
    if request.path.startswith("/api/"):
        return None
    names = request.headers.get("Phone-Times", "").split(",")
    return frozenset(text for name in names for text in request.POST.getlist(name))


class PhoneQueue:
    """Middleware: takes entries from phones, and says of each page whether a phone may keep it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        try:
            sent = sent_by(request)
        except BadHeader as error:
            return told(400, str(error))
        if sent is None:
            return keepable(request, self.get_response(request))
        if not request.user.is_authenticated:
            return told(401, _(SIGN_IN))
        if request.user.pk != sent.user:
            return told(409, _(ANOTHER), why="another")
        token = sending.set(sent)
        try:
            response = self.get_response(request)
        finally:
            sending.reset(token)
        return answered(request, response)


def told(status: int, words: str, **others: str) -> JsonResponse:
    """A refusal for the queue, in words."""
    return JsonResponse({"words": [words], **others}, status=status)


def answered(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """A page's answer as a queue understands it."""
    if isinstance(response, HttpResponseRedirect):
        # Whoever stands before the form reads the messages on the page it leads to.
        shown = request.headers.get("Phone-Waits") == "yes"
        words = [] if shown else [str(message) for message in get_messages(request)]
        return JsonResponse({"location": response.url, "words": words})
    if response.status_code == 200 and not request.path.startswith("/api/"):
        # The form again, with what is wrong at its fields.
        response.status_code = 422
    return response


def keepable(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """Say that a phone may keep this page, for whom and in which language, when it may."""
    match = getattr(request, "resolver_match", None)
    if match is None or request.method != "GET" or response.status_code != 200:
        return response
    # A page for anybody is the same for all: to ask who reads it would keep caches from sharing it.
    if response.headers.get("Cache-Control", "").startswith("public"):
        return response
    if "HX-Request" in request.headers or not request.user.is_authenticated:
        return response
    kind = response.headers.get("Content-Type", "").partition(";")[0]
    page = kept_as(match.view_name, match.kwargs.get("slug", ""), request.user)
    if page is not None and kind in SHOWN_BY_PHONES:
        whose = f"{request.user.pk}-{language_now()}"
        response[KEEP] = f"{whose}{' any' if page.any_query else ''}"
    return response
