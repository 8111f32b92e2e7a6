"""What comes of a phone's wrong clock: a mark on the entries, and a question where it matters."""

from collections.abc import Callable, Iterable, Iterator
from datetime import timedelta
from typing import Any

from django.contrib.auth.models import User
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.entries import Entry
from config.kinds import Kind, all_kinds
from config.language import in_estate_language
from config.models import ClockCorrection, Notice
from config.offline_clock import Sent, sending, shift_words
from config.roles import VET

# What an app says about an entry whose time was put right: the words of a question, "" for none.
Asker = Callable[[Entry, timedelta], str]

# How an entry's device starts when a phone kept it.
PHONE = "phone "
CAUSE = "clock:"
MARK = N_("time corrected by {shift}")
UNSURE = N_("The phone’s clock was set between the entry and its sending. ")
COUNTS = N_("Until somebody says otherwise the corrected time counts.")
# An entry is about something not longer ago than this; it keeps the search to an index.
LONGEST_AGO = timedelta(days=62)
# Nobody remembers the minute of a dose for longer.
ASKED_FOR = timedelta(days=14)

_askers: list[Asker] = []


def register(asker: Asker) -> None:
    """Have an app asked about every entry whose time was put right."""
    _askers.append(asker)


def follow_shift(user: User) -> None:
    """Mark what the phone that is sending has just written, and ask; in the write's transaction."""
    sent = sending.get()
    if sent is None or not sent.shift:
        return
    correction, made = ClockCorrection.objects.get_or_create(
        by=user,
        device=sent.device,
        written_at=sent.written_at,
        defaults={"seconds": round(sent.shift.total_seconds())},
    )
    if made:
        for kind, entry in entries_of(correction):
            ask(kind, entry, sent)


def entries_of(correction: ClockCorrection) -> Iterator[tuple[Kind, Entry]]:
    """The entries of the act that a correction is about."""
    span = (correction.written_at - LONGEST_AGO, correction.written_at + timedelta(days=1))
    for kind in all_kinds():
        found = kind.model.objects.standing().filter(
            by=correction.by,
            device=correction.device,
            written_at=correction.written_at,
            happened_at__range=span,
        )
        for entry in found:
            yield kind, entry


@in_estate_language()
def ask(kind: Kind, entry: Entry, sent: Sent) -> None:
    """Raise the question about an entry, when an app has one."""
    words = " ".join(filter(None, (asker(entry, sent.shift) for asker in _askers)))
    if not words:
        return
    Notice.objects.create(
        cause=f"{CAUSE}{kind.slug}:{entry.uuid}",
        role=VET,
        what=words[:400],
        where=str(entry)[:200],
        otherwise=(_(COUNTS) if sent.sure else _(UNSURE) + _(COUNTS)),
        url=f"/entries/{kind.slug}/{entry.uuid}/",
    )


def question_about(slug: str, entry: Entry) -> Notice | None:
    """The open question about the clock of an entry; None when there is none."""
    causes = Notice.objects.filter(closed_at=None, cause=f"{CAUSE}{slug}:{entry.uuid}")
    found: Notice | None = causes.first()
    return found


def close_answered() -> int:
    """Close the questions whose entry was struck or written again, or is long past; how many."""
    now = timezone.now()
    closed = 0
    for notice in Notice.objects.filter(closed_at=None, cause__startswith=CAUSE):
        _, slug, number = notice.cause.split(":", 2)
        kind = next((kind for kind in all_kinds() if kind.slug == slug), None)
        entry = kind.model.objects.standing().filter(uuid=number).first() if kind else None
        corrected = entry is not None and shift_on(entry) is not None
        if not corrected or now - notice.raised_at > ASKED_FOR:
            closed += Notice.objects.filter(pk=notice.pk, closed_at=None).update(closed_at=now)
    return closed


def shifts_on(entries: Iterable[Entry]) -> dict[int, timedelta]:
    """What was added to the times of these entries, by their id; those left alone are not in it."""
    by_phone = [entry for entry in entries if entry.device.startswith(PHONE)]
    if not by_phone:
        return {}
    wanted = Q()
    for entry in by_phone:
        wanted |= Q(by=entry.by_id, device=entry.device, written_at=entry.written_at)
    rows: Any = ClockCorrection.objects.filter(wanted)
    found = {(row.by_id, row.device, row.written_at): row.shift for row in rows}
    keyed = ((e.pk, found.get((e.by_id, e.device, e.written_at))) for e in by_phone)
    return {pk: shift for pk, shift in keyed if shift is not None}


def shift_on(entry: Entry) -> timedelta | None:
    """What was added to the time of an entry; None when it is as the phone said."""
    return shifts_on([entry]).get(entry.pk)


def mark_on(entry: Entry) -> str:
    """The mark of an entry whose time was put right, "time corrected by -3:00"; else ""."""
    shift = shift_on(entry)
    return "" if shift is None else _(MARK).format(shift=shift_words(shift))
