"""Settings that several lines of a page ask for are read once while the page is made.

Between two reads of one page somebody may change a setting; read once, the page agrees with itself.
Only pages and lists that are read (GET, HEAD) keep anything, and only until they are made: what
writes, a job or a command asks the database each time.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import wraps
from typing import Any, ParamSpec, TypeVar

from django.http import HttpRequest, HttpResponse

P = ParamSpec("P")
R = TypeVar("R")

READS = ("GET", "HEAD")
_kept: ContextVar[dict[Any, Any] | None] = ContextVar("read for a page", default=None)


def once_a_page(read: Callable[P, R]) -> Callable[P, R]:
    """A read whose answer, for the same arguments, is kept while a page is made.

    The arguments must be hashable, and nobody may change the answer: it is shared.
    """

    @wraps(read)
    def reading(*args: P.args, **kwargs: P.kwargs) -> R:
        kept = _kept.get()
        if kept is None:
            return read(*args, **kwargs)
        key = (read, args, tuple(sorted(kwargs.items())))
        if key not in kept:
            kept[key] = read(*args, **kwargs)
        found: R = kept[key]
        return found

    return reading


@contextmanager
def apart() -> Iterator[None]:
    """Keep what follows apart from what was read before, and forget it afterwards."""
    token = _kept.set(None if _kept.get() is None else {})
    try:
        yield
    finally:
        _kept.reset(token)


class OncePerPage:
    """Middleware: opens the place where the reads of one page are kept, and throws it away."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.method not in READS:
            return self.get_response(request)
        token = _kept.set({})
        try:
            return self.get_response(request)
        finally:
            _kept.reset(token)
