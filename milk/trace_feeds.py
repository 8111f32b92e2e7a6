"""What groups were fed before they were milked, and how late. Reads only."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from milk.trace_parts import FedTo, FeedIn, MilkingIn, hours_late
from milk.trace_sql import FEEDINGS_BEFORE, FEEDS, Reader

# No estate asks for loads fed further than this from a feeding (``asked_around``).
AROUND = timedelta(days=1)


def feeds_before(reader: Reader, milkings: dict[int, MilkingIn], before: timedelta) -> list[FeedIn]:
    """Loads and other feed given to the groups in the hours before each milking, exactly."""
    if not milkings:
        return []
    rows = reader.rows(FEEDINGS_BEFORE, **feedings_asked(milkings, before))
    if not rows:
        return []
    details = feed_details(
        reader, {row[5] for row in rows if row[5]}, {row[6] for row in rows if row[6]}
    )
    feedings: dict[int, FedTo] = {}
    fed: dict[tuple[str, int], list[FedTo]] = defaultdict(list)
    for milking, pk, at, kg, weighed, batch, feed_lot in rows:
        key = ("load", batch) if batch else ("lot", feed_lot)
        if pk not in feedings:
            late = hours_late(at, details[key].deadline)
            feedings[pk] = FedTo(milkings[milking].group, at, kg, weighed, late, [])
            fed[key].append(feedings[pk])
        feedings[pk].milkings.append(milkings[milking])
    for key, feed in details.items():
        feed.fed.extend(fed[key])
    return sorted(details.values(), key=lambda feed: (-(feed.hours_late or 0), feed.fed[0].at))


def feedings_asked(milkings: dict[int, MilkingIn], before: timedelta) -> dict[str, Any]:
    """What FEEDINGS_BEFORE is asked."""
    asked = list(milkings.values())
    return {
        "milkings": [milking.pk for milking in asked],
        "groups": [milking.group_id for milking in asked],
        "starts": [milking.started_at for milking in asked],
        "before": before,
    }


def open_asked(milkings: Iterable[MilkingIn], before: timedelta) -> dict[str, datetime]:
    """What OPEN_LOAD_FED is asked: from when until when a load may have been fed to any of them."""
    starts = [milking.started_at for milking in milkings]
    return {"first": min(starts) - before - AROUND, "last": max(starts) + AROUND}


def feed_details(
    reader: Reader, batches: Iterable[int], feed_lots: Iterable[int]
) -> dict[tuple[str, int], FeedIn]:
    """Loads and feed lots (keys), by ("load" or "lot", key)."""
    rows = reader.rows(FEEDS, batches=sorted(batches), feed_lots=sorted(feed_lots))
    feeds = [FeedIn(*row) for row in rows]
    return {("load" if feed.kind == "load" else "lot", feed.pk): feed for feed in feeds}
