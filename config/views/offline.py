"""What a phone needs to work without a network: its worker, its queue's page, and who is who."""

import hashlib
import json
from functools import cache
from pathlib import Path
from uuid import UUID

from django.contrib import messages
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect, render
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from config.language import language_now
from config.offline_pages import KEEP, ahead_for, papers_for
from config.offline_shifts import question_about
from config.roles import action_required
from config.views.entries import CLOCK, entry_or_404, kind_or_404

WORKER = "config/worker.js"
# What every page stands on; the rest of the static files is kept as pages bring it along.
SHELL = (
    "config/day-sheet.css",
    "config/sward.svg",
    "config/words.js",
    "config/queue.js",
    "config/phone.js",
    "config/offline.js",
    "config/queue-page.js",
    "django_htmx/htmx-2.min.js",
)
RIGHT = N_("Written: the time of {entry} is right.")


def file_of(name: str) -> bytes:
    """A static file's content. Raises LookupError for a file that is not there."""
    found = finders.find(name)
    if not isinstance(found, str):
        raise LookupError(name)
    return Path(found).read_bytes()


def version() -> str:
    """A word that changes with any file the worker stands on."""
    digest = hashlib.sha256()
    for name in (WORKER, *SHELL):
        digest.update(static(name).encode())
        digest.update(file_of(name))
    return digest.hexdigest()[:16]


@cache
def worker_text(language: str) -> str:
    """The worker with what it must know of this installation, and of its reader, in front.

    In another language it is another worker, which keeps its own page of what is missing.
    """
    known = {
        "version": f"{version()}-{language}",
        "language": language,
        "shell": [static(name) for name in SHELL],
        "statics": static(""),
        "queue": reverse("queue"),
        "logout": reverse("logout"),
        "keep": KEEP,
    }
    return f"const KNOWN = {json.dumps(known)};\n{file_of(WORKER).decode()}"


@require_GET
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker, at the root so that it serves every page; asked for anew each time."""
    return HttpResponse(
        worker_text(language_now()),
        content_type="text/javascript; charset=utf-8",
        headers={"Cache-Control": "no-cache", "Service-Worker-Allowed": "/"},
    )


@require_GET
@never_cache
def phone(request: HttpRequest) -> JsonResponse:
    """Who is signed in on this phone, a token for its forms, the time, and what to keep."""
    now = timezone.now()
    if not request.user.is_authenticated:
        return JsonResponse({"user": None, "now": now.isoformat()})
    return JsonResponse(
        {
            "user": request.user.pk,
            "name": request.user.get_full_name() or request.user.get_username(),
            "token": get_token(request),
            "now": now.isoformat(),
            "ahead": ahead_for(request.user),
            "papers": papers_for(request.user, timezone.localdate(now)),
        }
    )


@require_GET
def queue(request: HttpRequest) -> HttpResponse:
    """What waits on this phone. It holds nothing of the book, so it needs nobody signed in."""
    return render(request, "config/queue.html")


@require_POST
@action_required(CLOCK)
def clock_right(request: HttpRequest, slug: str, uuid: UUID) -> HttpResponse:
    """The time of an entry that was put right is right: nobody need ask any more."""
    entry = entry_or_404(kind_or_404(slug), uuid)
    notice = question_about(slug, entry)
    if notice is not None:
        notice.closed_at = timezone.now()
        notice.save(update_fields=["closed_at"])
        messages.success(request, _(RIGHT).format(entry=entry))
    return redirect("kind-detail", slug=slug, uuid=uuid)
