"""Half a minute to take an entry back: what a page has just written is struck again by one touch.

While a page carries out a form, what it writes is noted; the session keeps its numbers for so long.
Nothing is deleted: taking back is striking, by the same service and the same rules. Afterwards an
entry is struck with a reason and written again.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import HttpRequest
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.entries import Entry, noted
from config.errors import Conflict
from config.kinds import Kind, kind_named, kind_of
from config.roles import check_may_strike

# Long enough to see the slip, short enough that nobody undoes another day's work.
FOR = timedelta(seconds=30)
# A move of a whole group is one slip; what writes more comes from files.
MOST = 300
KEPT = "undo"
WORDS = "taken back at once"
AND_MORE = N_(" and {count} more")
TOO_LATE = N_("Half a minute is over. Strike the entry where it stands, with the reason.")
NOTHING = N_("There is nothing of yours to take back: it was taken back already, or never written.")


@dataclass(frozen=True, kw_only=True)
class Offer:
    """What may be taken back until a moment: the entries in the order they were written.

    ``says``: the first of them, as it was called then. ``page``: where it was written.
    """

    until: datetime
    says: str
    more: int
    page: str
    entries: list[tuple[str, str]]

    @property
    def words(self) -> str:
        """What it is about: the first entry, and how many more."""
        more = _(AND_MORE).format(count=self.more) if self.more else ""
        return f"{self.says}{more}"

    @property
    def seconds(self) -> int:
        """How long it is still offered; counted on the phone, whose clock may be wrong."""
        return max(int((self.until - timezone.now()).total_seconds()), 0)


@contextmanager
def noting() -> Iterator[list[Entry]]:
    """While a form is carried out: every entry that is written, in order."""
    written: list[Entry] = []
    token = noted.set(written)
    try:
        yield written
    finally:
        noted.reset(token)


def offer(request: HttpRequest, written: Sequence[Entry]) -> None:
    """Keep what was just written with the session, so that it can be taken back.

    What the program wrote by itself follows from the rest. An entry written again in place of
    another is not offered: its old wording would stay struck.
    """
    mine = [entry for entry in written if entry.by_id == request.user.pk]
    named = [(kind, entry) for entry in mine if (kind := kind_or_none(entry)) is not None]
    if not named or len(named) > MOST or any(entry.replaces for entry in mine):
        request.session.pop(KEPT, None)
        return
    request.session[KEPT] = {
        "at": timezone.now().isoformat(),
        "says": str(named[0][1]),
        "page": came_from(request),
        "entries": [[kind.slug, str(entry.uuid)] for kind, entry in named],
    }


def kind_or_none(entry: Entry) -> Kind | None:
    """The kind of an entry; None for one that people do not write by itself."""
    try:
        return kind_of(entry)
    except LookupError:
        return None


def came_from(request: HttpRequest) -> str:
    """The page of this site a form was sent from; "" when the browser does not say."""
    page = request.headers.get("Referer", "")
    ours = url_has_allowed_host_and_scheme(page, {request.get_host()}, request.is_secure())
    return page if ours and len(page) < 500 else ""


def offered(request: HttpRequest, at: datetime) -> Offer | None:
    """What may still be taken back at a moment; None when nothing may."""
    kept = request.session.get(KEPT) if hasattr(request, "session") else None
    if not kept:
        return None
    found = read(kept)
    return found if at < found.until else None


def read(kept: dict[str, Any]) -> Offer:
    """What the session keeps."""
    entries = [(slug, number) for slug, number in kept["entries"]]
    return Offer(
        until=datetime.fromisoformat(kept["at"]) + FOR,
        says=kept["says"],
        more=len(entries) - 1,
        page=kept["page"],
        entries=entries,
    )


def take_back(request: HttpRequest, first: str) -> Offer:
    """Strike what was just written, the last first; all of it or nothing.

    ``first``: the number of the first of them, as the button says it, so that an old page takes
    nothing newer back. Raises Conflict when it is too late or something hangs on an entry,
    PermissionDenied when a role may not strike it.
    """
    kept = request.session.get(KEPT)
    found = read(kept) if kept else None
    if found is None or found.entries[0][1] != first:
        raise Conflict(_(NOTHING))
    if timezone.now() >= found.until:
        raise Conflict(_(TOO_LATE))
    with transaction.atomic():
        for slug, number in reversed(found.entries):
            strike_one(request, kind_named(slug), UUID(number))
    del request.session[KEPT]
    return found


def strike_one(request: HttpRequest, kind: Kind, number: UUID) -> None:
    """Strike an entry unless it went with one that was struck before it."""
    entry: Entry | None = kind.model.objects.filter(uuid=number).first()
    if entry is None or entry.is_struck:
        return
    if entry.by_id != request.user.pk:
        raise PermissionDenied(_(NOTHING))
    check_may_strike(request.user, kind.slug, entry)
    kind.strike(entry, by=request.user, reason="other", words=WORDS)
