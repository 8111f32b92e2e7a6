"""What is sent is measured before anything of it is read: to a disk, into memory, or at all.

A page that takes no file needs no more than a form does; a file may be as long as the setting says.
Without its length told nothing is read of a body either: Django takes it for an empty one.
"""

from collections.abc import Callable
from typing import Any, TypeVar

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.urls import Resolver404, resolve
from django.utils.translation import gettext as _

from config.errors import TOO_BIG, problem
from config.loading import limit_bytes
from config.sheets import MEGABYTE
from config.views.errors import shown

View = TypeVar("View", bound=Callable[..., Any])
# Beside the file: its name, the other fields, and the lines between them.
AROUND_A_FILE = MEGABYTE


def takes_files(view: View) -> View:
    """Decorator of a view to which files are sent."""
    view.takes_files = True  # type: ignore[attr-defined]
    return view


class MeasuredBody:
    """Middleware: refuses what is too large for where it is sent to."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if told_length(request) > most_for(request):
            return shown(request, problem(413, _(TOO_BIG)))
        return self.get_response(request)


def told_length(request: HttpRequest) -> int:
    """The length of the body as the sender tells it; 0 for none, or for what is no length."""
    told = request.META.get("CONTENT_LENGTH") or ""
    return int(told) if told.isascii() and told.isdecimal() and len(told) < 20 else 0


def most_for(request: HttpRequest) -> int:
    """How much may be sent to the address of a request, in bytes."""
    plain = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
    if told_length(request) <= plain:
        return int(plain)
    try:
        view: Any = resolve(request.path_info).func
    except Resolver404:
        return int(plain)
    takes = getattr(getattr(view, "cls", view), "takes_files", False)
    return limit_bytes() + AROUND_A_FILE if takes else int(plain)
