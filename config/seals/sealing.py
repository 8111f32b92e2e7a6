"""Seal the days that are over, and hold the book against its seals."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from typing import Any

from django.db import connection, transaction

from config.models import SealedDay
from config.seals.lines import (
    MARK,
    NOTHING_BEFORE,
    Part,
    head_of,
    marks_in,
    part_of,
)
from config.seals.reading import all_names, days_between, fields_now, first_day, lines_of

# An entry gets its time when its request or job begins and is there when that ends, at the latest
# after the longest job.
OPEN_AFTER_MIDNIGHT = timedelta(hours=1)
# The lock of the sealing, any number that nobody else uses.
LOCK = 5_141_001
NAMED_AT_MOST = 5

BROKEN = "{day}: the head does not follow from the day before it and from its parts"
GAP = "{day}: the day before it is not sealed"
FILE_CHANGED = "{day}, files: the content of file {number} ({name}) is not what was taken in"
FILES_CHANGED = """
    SELECT id, name, taken_at FROM config_upload
    WHERE encode(sha256(content), 'hex') <> sha256 ORDER BY id
"""
TOO_EARLY = "{day}: an entry says that it arrived before the first sealed day, {first}"
CHANGED = "{day}, {kind}: {told}"
COLUMN_GONE = "{kind}, sealed {since} to {until}: {why}"


@dataclass
class Found:
    """The book held against its seals. ``faults``: what is wrong, in words."""

    days: int = 0
    lines: int = 0
    first: date | None = None
    last: date | None = None
    head: str = ""
    faults: list[str] = field(default_factory=list)


def last_day_over(now: datetime) -> date:
    """The last day to which no entry can come any more."""
    return (now.astimezone(UTC) - OPEN_AFTER_MIDNIGHT).date() - timedelta(days=1)


@transaction.atomic
def seal(now: datetime) -> list[SealedDay]:
    """Seal every day that is over and is not sealed yet, in order; those that were sealed."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [LOCK])
    last = SealedDay.objects.order_by("-day").first()
    first = last.day + timedelta(days=1) if last else first_day()
    until = last_day_over(now)
    if first is None or first > until:
        return []
    parts = parts_between(first, until)
    before = last.head if last else NOTHING_BEFORE
    sealed = []
    for day in days_between(first, until):
        made = sealed_day(day, before, parts[day], now)
        before = made.head
        sealed.append(made)
    return list(SealedDay.objects.bulk_create(sealed, batch_size=500))


def parts_between(first: date, last: date) -> dict[date, dict[str, Part]]:
    """The parts of each day, kind by kind, so that only one kind is in memory."""
    parts: dict[date, dict[str, Part]] = defaultdict(dict)
    for name in all_names():
        for day, part in parts_of(name, first, last).items():
            parts[day][name] = part
    return parts


def parts_of(
    name: str, first: date, last: date, fields: Sequence[str] | None = None
) -> dict[date, Part]:
    """The part of one kind on each day that has lines."""
    digests: dict[date, list[bytes]] = defaultdict(list)
    for line in lines_of(name, first, last + timedelta(days=1), fields):
        digests[line.day].append(sha256(line.text).digest())
    return {day: part_of(several) for day, several in digests.items()}


def sealed_day(day: date, before: str, parts: dict[str, Part], now: datetime) -> SealedDay:
    """The row of a day."""
    kept = {
        name: {"lines": part.lines, "sha256": part.sha256, "fields": list(fields_now(name))}
        for name, part in sorted(parts.items())
    }
    return SealedDay(
        day=day,
        before=before,
        head=head_of(day, before, kept),
        parts=kept,
        lines=sum(part.lines for part in parts.values()),
        marks=b"".join(parts[name].marks for name in sorted(parts)),
        sealed_at=now,
    )


def check(since: date | None = None) -> Found:
    """Hold the book against its seals, from ``since`` on (default: all of it)."""
    days = list(SealedDay.objects.order_by("day"))
    found = Found(days=len(days))
    if not days:
        return found
    found.first, found.last, found.head = days[0].day, days[-1].day, days[-1].head
    found.lines = sum(day.lines for day in days)
    found.faults += broken_links(days)
    first = first_day()
    if first is not None and first < days[0].day:
        found.faults.append(TOO_EARLY.format(day=first, first=days[0].day))
    looked_at = [day for day in days if since is None or day.day >= since]
    for name in all_names():
        found.faults += faults_of(name, looked_at)
    found.faults += changed_files()
    return found


def changed_files() -> Iterator[str]:
    """Files in the book whose content has not the sum that was sealed with them."""
    with connection.cursor() as cursor:
        cursor.execute(FILES_CHANGED)
        for number, name, taken_at in cursor.fetchall():
            yield FILE_CHANGED.format(number=number, name=name, day=taken_at.date())


def broken_links(days: Sequence[SealedDay]) -> Iterator[str]:
    """Days whose head does not follow from what is kept of them."""
    before, expected = NOTHING_BEFORE, days[0].day
    for day in days:
        if day.day != expected:
            yield GAP.format(day=day.day)
        if day.before != before or day.head != head_of(day.day, day.before, day.parts):
            yield BROKEN.format(day=day.day)
        before, expected = day.head, day.day + timedelta(days=1)


def faults_of(name: str, days: Sequence[SealedDay]) -> Iterator[str]:
    """Where the lines of a kind are not what was sealed."""
    for fields, several in by_fields(name, days).items():
        first, last = several[0].day, several[-1].day
        try:
            now = parts_of(name, first, last, fields or None)
        except LookupError as error:
            kind = words_for(name)
            yield COLUMN_GONE.format(kind=kind, since=first, until=last, why=error)
            continue
        for day in several:
            part = now.get(day.day)
            kept = day.parts.get(name)
            if ((part.lines, part.sha256) if part else None) != as_kept(kept):
                told = differing(name, day, part, fields or None)
                yield CHANGED.format(day=day.day, kind=words_for(name), told=told)


def as_kept(kept: dict[str, Any] | None) -> tuple[int, str] | None:
    """Lines and sum of a part as the seal keeps it."""
    return (kept["lines"], kept["sha256"]) if kept else None


def by_fields(name: str, days: Iterable[SealedDay]) -> dict[tuple[str, ...], list[SealedDay]]:
    """The days by the facts that were summed then; a day without lines of the kind by today's."""
    groups: dict[tuple[str, ...], list[SealedDay]] = defaultdict(list)
    for day in days:
        kept = day.parts.get(name)
        groups[tuple(kept["fields"]) if kept else fields_now(name)].append(day)
    return groups


def differing(name: str, day: SealedDay, part: Part | None, fields: Sequence[str] | None) -> str:
    """What is otherwise than sealed, in words, with the numbers of the entries that are."""
    sealed = set(marks_in(marks_of(day, name)))
    now = set(marks_in(part.marks)) if part else set()
    strange = []
    for line in lines_of(name, day.day, day.day + timedelta(days=1), fields):
        if line.day == day.day and sha256(line.text).digest()[:MARK] not in sealed:
            strange.append(line.text.decode())
    told = []
    if strange:
        shown = "; ".join(strange[:NAMED_AT_MOST])
        told.append(f"{len(strange)} changed or added after the day was sealed ({shown})")
    if sealed - now:
        told.append(f"{len(sealed - now)} of the sealed lines not there as they were")
    return ", ".join(told) or "the seal itself was changed"


def marks_of(day: SealedDay, name: str) -> bytes:
    """The marks of one kind among those of the day."""
    at = 0
    for other in sorted(day.parts):
        long = day.parts[other]["lines"] * MARK
        if other == name:
            return bytes(day.marks)[at : at + long]
        at += long
    return b""


def words_for(name: str) -> str:
    """A kind as a person says it."""
    return name.replace("-", " ")
