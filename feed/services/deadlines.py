"""Compute what is derived of loads: feed first, past, found heated, nothing left since."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import connection, transaction
from django.db.models import Max, Sum

from config.jobs import ask
from feed import window
from feed.days import local_day, start_of
from feed.models import Discard, Feeding, ForageBatch, HeapCheck, WindowRule

DERIVED = ("first_at", "deadline", "heated_at", "done_at")
# Loads computed in one go; keeps the statements short when all of ten years are computed again.
AT_ONCE = 500

# Rings, and stops ringing, for loads past their window; asked for after every change.
FLAG_TASK = "feed.tasks.flag_grass_past_window"

# As Django's bulk_update, without a CASE of hundreds of branches for each column.
WRITE = """
    UPDATE feed_foragebatch AS batch
    SET first_at = new.first_at, deadline = new.deadline, heated_at = new.heated_at,
        done_at = new.done_at
    FROM unnest(%s::int[], %s::timestamptz[], %s::timestamptz[], %s::timestamptz[],
                %s::timestamptz[]) AS new (id, first_at, deadline, heated_at, done_at)
    WHERE batch.id = new.id
"""

Gone = dict[int, tuple[Decimal, datetime]]


def follow(*batch_ids: int | None) -> None:
    """What follows from a change to these loads: deadlines now, notices once it is written."""
    recompute(pk for pk in batch_ids if pk is not None)
    ask(FLAG_TASK)


@transaction.atomic
def recompute(batch_ids: Iterable[int]) -> int:
    """Compute the derived columns of these loads again; the number of loads that changed."""
    asked = ForageBatch.objects.filter(pk__in=list(batch_ids)).order_by("pk")
    batches = list(asked.select_for_update())
    pks = [batch.pk for batch in batches]
    rules, readings, gone = window_rules(), readings_of(pks), gone_of(pks)
    changed = []
    for batch in batches:
        values = derived_of(batch, rules, readings[batch.pk], gone)
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


def derived_of(
    batch: ForageBatch,
    rules: list[window.Rule],
    readings: list[window.Reading],
    gone: Gone,
) -> dict[str, datetime | None]:
    """The derived columns of one load, by name."""
    found = window.window(grass_of(batch), rules, readings)
    kg, last = gone.get(batch.pk, (Decimal(0), None))
    return {
        "first_at": found.first_at if found else None,
        "deadline": found.deadline if found else None,
        "heated_at": found.heated_at if found else None,
        "done_at": last if kg >= batch.kg else None,
    }


def grass_of(batch: ForageBatch) -> window.Grass:
    """A load as its window sees it."""
    return window.Grass(
        cut_at=batch.happened_at,
        cut_on=local_day(batch.happened_at),
        written=batch.received_at,
        air_temperature=batch.air_temperature,
        shortened=batch.wet or batch.chopped,
    )


def window_rules() -> list[window.Rule]:
    """The estate's window rules, struck ones too: a load may have been cut under one."""
    names = (
        "from_temperature",
        "hours",
        "wet_factor",
        "first_share",
        "extension_share",
        "heap_over_air",
        "heap_top",
        "valid_from",
    )
    rows = WindowRule.objects.values(*names, "received_at", "struck_at")
    return [
        window.Rule(written=row.pop("received_at"), struck=row.pop("struck_at"), **row)
        for row in rows
    ]


def readings_of(pks: list[int]) -> dict[int, list[window.Reading]]:
    """The standing heap checks of loads, by load."""
    found: dict[int, list[window.Reading]] = defaultdict(list)
    for check in HeapCheck.objects.standing().filter(batch__in=pks):
        found[check.batch_id].append(reading_of(check))
    return found


def reading_of(check: HeapCheck) -> window.Reading:
    """A heap check as the window sees it."""
    return window.Reading(
        at=check.happened_at,
        heap=check.heap,
        air=check.air,
        warm_to_hand=check.warm_to_hand,
        extends=check.extends,
    )


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
