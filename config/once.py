"""Written once: the same write sent twice makes one entry and gets the same answer.

A sender names each write with a key of its own (header Idempotency-Key, or the hidden field
``once`` of a form). The key's row is inserted first, in the transaction of the write itself, so
that a second one with the same key waits for the first and then reads its answer. A write that
failed leaves no row: it may be mended and sent again under its key.
"""

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

from django.contrib.auth.models import AnonymousUser, User
from django.core.exceptions import PermissionDenied
from django.db import connection, transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import undo
from config.errors import Refused, Unprocessable
from config.models import Once
from config.offline_shifts import follow_shift

HEADER = "Idempotency-Key"
REPLAYED = "Idempotency-Replayed"
FIELD = "once"
LONGEST_KEY = 64
# A phone that was out of reach for a month and asks again still gets its first answer.
KEPT_FOR = timedelta(days=60)

KEY_MISSING = N_(
    "The header Idempotency-Key is missing. Send one of your own making with every write, such as "
    "a UUID, and the same one again when you repeat the write."
)
FORM_KEY_MISSING = N_(
    "This form came without its number. Open the form again and send it from there."
)
KEY_SHAPE = N_("The Idempotency-Key must have 1 to {most} visible ASCII characters.")
BODY_CHANGED = N_(
    "This was sent before with other content, and that first one is written. Nothing new was "
    "saved. For another entry open a new form (or use a new Idempotency-Key)."
)

Answer = TypeVar("Answer")
P = ParamSpec("P")
Page = Callable[Concatenate[HttpRequest, P], HttpResponse]


@dataclass(frozen=True)
class Kept:
    """What is kept of an answer."""

    status: int
    body: Any = None
    location: str = ""


def clean_key(raw: str | None, missing: str) -> str:
    """The key as it is compared. Raises Refused when there is none, or when it is not a key."""
    key = (raw or "").strip().strip('"')
    if not key:
        raise Refused(missing)
    if len(key) > LONGEST_KEY or not key.isascii() or not key.isprintable():
        raise Refused(_(KEY_SHAPE).format(most=LONGEST_KEY))
    return key


def fingerprint(method: str, path: str, data: Any, files: Mapping[str, Any]) -> str:
    """The sha256 of everything that makes one write differ from another, in hexadecimal."""
    digest = hashlib.sha256(f"{method} {path}\n".encode(errors="backslashreplace"))
    digest.update(json.dumps(data, sort_keys=True, default=str).encode())
    for name, file in sorted(files.items()):
        digest.update(f"\n{name} {file.name} {file.size}\n".encode(errors="backslashreplace"))
        for chunk in file.chunks():
            digest.update(chunk)
        file.seek(0)
    return digest.hexdigest()


def claim(by: User, key: str, print_: str) -> tuple[Once, bool]:
    """The row of a key, and whether it is ours to answer; waits for another that is writing it."""
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO config_once (by_id, key, fingerprint, location, received_at) "
            "VALUES (%s, %s, %s, '', %s) ON CONFLICT (by_id, key) DO NOTHING RETURNING id",
            [by.pk, key, print_, timezone.now()],
        )
        made = cursor.fetchone()
    if made is None:
        return Once.objects.get(by=by, key=key), False
    row = Once(pk=made[0], by=by, key=key, fingerprint=print_)
    row._state.adding = False
    return row, True


def run_once(
    user: User | AnonymousUser,
    key: str,
    print_: str,
    *,
    run: Callable[[], Answer],
    keep: Callable[[Answer], Kept | None],
    replay: Callable[[Once], Answer],
) -> Answer:
    """Run a write under its key, or give the first answer again.

    ``keep`` says what to keep of an answer, None for a failed one, whose writes are undone. Raises
    Unprocessable when the key was used for something else.
    """
    if not user.is_authenticated:
        raise PermissionDenied
    with transaction.atomic():
        row, first = claim(user, key, print_)
        if not first:
            if row.fingerprint != print_:
                raise Unprocessable(_(BODY_CHANGED))
            return replay(row)
        answer = run()
        kept = keep(answer)
        if kept is None:
            transaction.set_rollback(True)
        else:
            row.status, row.body, row.location = kept.status, kept.body, kept.location
            row.save(update_fields=["status", "body", "location"])
            follow_shift(user)
        return answer


def once_only(view: Page[P]) -> Page[P]:
    """Decorator of a page with a form: a POST is carried out once per hidden field ``once``.

    Put it below ``action_required``. The page answers a success with a redirect; any other answer
    counts as not done, and everything it wrote is undone.
    """

    @wraps(view)
    def guarded(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        if request.method != "POST":
            return view(request, *args, **kwargs)
        key = clean_key(request.POST.get(FIELD), _(FORM_KEY_MISSING))
        fields = {
            name: values
            for name, values in request.POST.lists()
            if name not in (FIELD, "csrfmiddlewaretoken")
        }
        with undo.noting() as written:
            answer = run_once(
                request.user,
                key,
                fingerprint("POST", request.get_full_path(), fields, dict(request.FILES.items())),
                run=lambda: view(request, *args, **kwargs),
                keep=kept_of_page,
                replay=page_again,
            )
        if written and isinstance(answer, HttpResponseRedirect):
            undo.offer(request, written)
        return answer

    guard: Page[P] = guarded  # type: ignore[assignment]
    return guard


def kept_of_page(answer: HttpResponse) -> Kept | None:
    """What to keep of a page's answer: where it led to; None when it did not succeed."""
    if not isinstance(answer, HttpResponseRedirect):
        return None
    return Kept(answer.status_code, location=answer.url)


def page_again(row: Once) -> HttpResponse:
    """The first answer to a form, again."""
    answer = HttpResponseRedirect(row.location)
    answer[REPLAYED] = "true"
    return answer


def forget_old() -> int:
    """Delete the keys that nobody will send again; the number deleted."""
    deleted, _ = Once.objects.filter(received_at__lt=timezone.now() - KEPT_FOR).delete()
    return deleted
