"""What is held against the ledgers after a fault: counts, flags, and everything computed again."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import psycopg
from django.db import connection, transaction
from django.utils import timezone

from config.celery import app
from config.verifying import verify
from feed.services.deadlines import recompute_all
from milk.services import flags
from tests.drills.ledger import ACKNOWLEDGED, REFUSED

# Where each kind keeps its mark.
PLACES = {
    "doses": ("herd_dose", "batch"),
    "courses": ("herd_course", "diagnosis"),
    "forage-batches": ("feed_foragebatch", "remark"),
    "lot-tests": ("milk_lottest", "sample"),
    "milkings": ("milk_milking", "remark"),
    "tank-events": ("milk_tankevent", "remark"),
    "vats": ("milk_vat", "remark"),
    "vat-fills": ("milk_vatfill", "device"),
}
# A worker that was killed with the job is followed by the clock's next one.
CLOCK_GRACE = timedelta(seconds=60)
HELD = """
    SELECT course.diagnosis, course.received_at, min(hold.received_at)
    FROM herd_course AS course
    LEFT JOIN milk_hold AS hold ON hold.cause_key LIKE 'withheld:' || course.uuid || '%'
    WHERE course.diagnosis LIKE 'drill-%' AND course.struck_at IS NULL
    GROUP BY course.diagnosis, course.received_at
"""
OVER_UNFLAGGED = """
    SELECT test.sample FROM milk_lottest AS test
    WHERE test.value >= 900 AND test.struck_at IS NULL
      AND NOT EXISTS (SELECT 1 FROM milk_lotflag AS flag WHERE flag.test_id = test.id)
"""

Known = dict[str, tuple[str, str]]


@dataclass
class Found:
    """What was wrong, by mark, whenever it was looked."""

    lost: set[str] = field(default_factory=set)
    doubled: set[str] = field(default_factory=set)
    refused_but_there: set[str] = field(default_factory=set)
    not_flagged: set[str] = field(default_factory=set)
    late_flags: set[str] = field(default_factory=set)
    otherwise: list[str] = field(default_factory=list)
    flags: int = 0
    longest_flag_seconds: float = 0.0
    computed_again: int = 0

    def wrong(self) -> bool:
        return bool(
            self.lost
            or self.doubled
            or self.refused_but_there
            or self.not_flagged
            or self.late_flags
            or self.otherwise
        )


def counted(book: psycopg.Connection[Any]) -> Counter[str]:
    """How often each mark stands in the book."""
    union = " UNION ALL ".join(
        f"SELECT {column} FROM {table} WHERE struck_at IS NULL AND {column} LIKE 'drill-%'"
        for table, column in PLACES.values()
    )
    rows = book.execute(f"SELECT * FROM ({union}) AS marks".encode()).fetchall()
    return Counter(mark for (mark,) in rows)


def hold_against(known: Known, book: psycopg.Connection[Any], found: Found) -> None:
    """Exactly once what was acknowledged, and nothing that was refused. ``known`` is read first."""
    there = counted(book)
    for mark, (state, _) in known.items():
        if state == ACKNOWLEDGED and not there[mark]:
            found.lost.add(mark)
        if state == REFUSED and there[mark]:
            found.refused_but_there.add(mark)
    found.doubled |= {mark for mark, times in there.items() if times > 1}


def hold_flags(book: psycopg.Connection[Any], found: Found) -> None:
    """Every result over its limit is flagged at once; milk of a course written late is held in
    time."""
    found.not_flagged |= {mark for (mark,) in book.execute(OVER_UNFLAGGED)}
    now, limit = timezone.now(), within()
    waited = []
    for mark, received, held in book.execute(HELD.encode()):
        waited.append(((held or now) - received).total_seconds())
        if (held or now) - received > limit:
            found.late_flags.add(mark)
    found.flags = len(waited)
    found.longest_flag_seconds = round(max(waited, default=0.0), 1)


def within() -> timedelta:
    """So soon milk of a late course is held: the clock's next run, and a minute for the work."""
    every = app.conf.beat_schedule["milk of withheld animals"]["schedule"]
    assert isinstance(every, timedelta)
    return every + CLOCK_GRACE


def still_to_flag(at: datetime) -> int:
    """How many holds the job would make now; nothing of it stays."""
    with transaction.atomic():
        made = flags.flag_withheld_milk(at=at)["holds"]
        transaction.set_rollback(True)
    return made


def compute_again(found: Found) -> None:
    """Compute everything derived again, and compare; nobody may write meanwhile."""
    found.otherwise += verify(derived=True).faults
    with transaction.atomic():
        changed = recompute_all()
        transaction.set_rollback(True)
    if changed:
        found.otherwise.append(f"{changed} loads come out otherwise")
    found.computed_again += 1
    connection.close()
