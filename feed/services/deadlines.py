"""Compute what is derived of loads: feed first, past, found heated, nothing left since."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import connection, transaction
from django.db.models import Max, Q, Sum

from config.days import start_of
from config.jobs import ask
from feed.models import Discard, Feeding, ForageBatch
from feed.services.windows import Book, book_of

DERIVED = ("air_used", "first_at", "deadline", "heated_at", "done_at")
# Loads computed in one go; keeps the statements short when all of ten years are computed again.
AT_ONCE = 500

# Rings, and stops ringing, for loads past their window; asked for after every change.
FLAG_TASK = "feed.tasks.flag_grass_past_window"

# As Django's bulk_update, without a CASE of hundreds of branches for each column.
WRITE = """
    UPDATE feed_foragebatch AS batch
    SET air_used = new.air_used, first_at = new.first_at, deadline = new.deadline,
        heated_at = new.heated_at, done_at = new.done_at
    FROM unnest(%s::int[], %s::numeric[], %s::timestamptz[], %s::timestamptz[], %s::timestamptz[],
                %s::timestamptz[]) AS new (id, air_used, first_at, deadline, heated_at, done_at)
    WHERE batch.id = new.id
"""

Gone = dict[int, tuple[Decimal, datetime]]


def follow(*batch_ids: int | None) -> None:
    """What follows from a change to these loads: deadlines now, notices once it is written."""
    recompute(pk for pk in batch_ids if pk is not None)
    ask(FLAG_TASK)


@transaction.atomic
def recompute(batch_ids: Iterable[int]) -> int:
    """Compute the derived columns of these loads and of those on their heaps again.

    The number of loads that changed.
    """
    asked = list(batch_ids)
    rows = ForageBatch.objects.filter(Q(pk__in=asked) | Q(pk__in=heap_mates(asked)))
    batches = list(rows.order_by("pk").select_for_update())
    book, gone = book_of(batches), gone_of([batch.pk for batch in batches])
    changed = []
    for batch in batches:
        values = derived_of(batch, book, gone)
        if any(getattr(batch, name) != value for name, value in values.items()):
            for name, value in values.items():
                setattr(batch, name, value)
            changed.append(batch)
    write(changed)
    return len(changed)


def write(batches: list[ForageBatch]) -> None:
    """Write the derived columns of loads in one statement."""
    if not batches:
        return
    columns = [[getattr(batch, name) for batch in batches] for name in ("id", *DERIVED)]
    with connection.cursor() as cursor:
        cursor.execute(WRITE, columns)


def recompute_day(day: date) -> int:
    """Compute the loads cut on a day again; the number that changed."""
    start, end = start_of(day), start_of(day + timedelta(days=1))
    return in_parts(ForageBatch.objects.filter(happened_at__gte=start, happened_at__lt=end))


def recompute_since(day: date) -> int:
    """Compute every load cut on or after a day again; the number that changed."""
    return in_parts(ForageBatch.objects.filter(happened_at__gte=start_of(day)))


def recompute_all() -> int:
    """Compute every load again, struck ones too; the number that changed."""
    return in_parts(ForageBatch.objects.all())


def in_parts(batches: Any) -> int:
    """Compute the loads of a query again, some at a time."""
    pks = list(batches.order_by("pk").values_list("pk", flat=True))
    return sum(recompute(pks[at : at + AT_ONCE]) for at in range(0, len(pks), AT_ONCE))


def heap_mates(pks: list[int]) -> Any:
    """The loads that lie on a heap with one of these, as a query of keys."""
    roots = ForageBatch.objects.filter(pk__in=pks, onto__isnull=False).values("onto")
    return (
        ForageBatch.objects.standing()
        .filter(Q(onto__in=pks) | Q(pk__in=roots) | Q(onto__in=roots))
        .values("pk")
    )


def derived_of(batch: ForageBatch, book: Book, gone: Gone) -> dict[str, Any]:
    """The derived columns of one load, by name."""
    found = book.window(batch)
    kg, last = gone.get(batch.pk, (Decimal(0), None))
    return {
        "air_used": book.air[batch.pk],
        "first_at": found.first_at if found else None,
        "deadline": found.deadline if found else None,
        "heated_at": found.heated_at if found else None,
        "done_at": last if kg >= batch.kg else None,
    }


def gone_of(pks: list[int]) -> Gone:
    """What was fed or discarded of loads: kg and the last moment, by load."""
    found: Gone = {}
    for model in (Feeding, Discard):
        rows = (
            model.objects.standing()
            .filter(batch__in=pks)
            .order_by()
            .values_list("batch")
            .annotate(kg=Sum("kg"), last=Max("happened_at"))
        )
        for pk, kg, last in rows:
            before = found.get(pk)
            found[pk] = (before[0] + kg, max(before[1], last)) if before else (kg, last)
    return found
