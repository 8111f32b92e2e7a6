"""Keeps where every wheel lies now (``WheelPlace``), computed from the steps of its life."""

from collections.abc import Collection, Iterator
from datetime import datetime
from typing import Any

from django.contrib.auth.models import User
from django.db import connection, transaction

from config import entries
from config.entries import Entry
from milk.models import Wheel, WheelPlace
from milk.places import EVER, IN_BRINE, LAST_FIRST, STEPS

# So many wheels in one statement when all of it is written again.
AT_ONCE, A_PART = 20_000, 2_000

# Where each wheel was last written to be. In brine, it counts from when it went in: moving it
# between rows does not begin its days again.
_LAST = f"""
WITH steps AS (
    SELECT *, row_number() OVER (PARTITION BY wheel_id ORDER BY {LAST_FIRST}) AS back
    FROM ({STEPS}) AS every WHERE at <= %(at)s
), dry AS (
    SELECT wheel_id, min(back) AS back FROM steps WHERE what <> 'brine' GROUP BY wheel_id
)
SELECT last.wheel_id, last.what, last.stay_id, last.place_id, last.written_at, last.id,
    CASE WHEN last.what = 'brine' THEN (
        SELECT min(wet.at) FROM steps AS wet LEFT JOIN dry ON dry.wheel_id = wet.wheel_id
        WHERE wet.wheel_id = last.wheel_id AND (dry.back IS NULL OR wet.back < dry.back)
    ) ELSE last.at END AS at
FROM steps AS last WHERE last.back = 1
"""
# Of several wheels last written on one shelf, the one written there last lies on it.
_WRITE = f"""
INSERT INTO milk_wheelplace (wheel_id, what, at, place_id, last_place_id, stay_id)
SELECT wheel_id,
    CASE WHEN what = 'store' AND turn > 1 THEN 'doubt' ELSE what END,
    at,
    CASE WHEN what = 'store' AND turn = 1 THEN place_id END,
    place_id,
    stay_id
FROM (SELECT *, row_number() OVER (
          PARTITION BY place_id, what ORDER BY at DESC, written_at DESC, id DESC) AS turn
      FROM ({_LAST}) AS last) AS placed
ORDER BY wheel_id
ON CONFLICT (wheel_id) DO UPDATE SET
    what = EXCLUDED.what, at = EXCLUDED.at, place_id = EXCLUDED.place_id,
    last_place_id = EXCLUDED.last_place_id, stay_id = EXCLUDED.stay_id
"""
# Wheels that were last written on one of the shelves these wheels leave or take.
_RIVALS = f"""
SELECT wheel_id FROM milk_wheelplace WHERE last_place_id IN (
    SELECT last_place_id FROM milk_wheelplace WHERE wheel_id = ANY(%(wheels)s)
    UNION SELECT place_id FROM ({STEPS}) AS every
)
"""
_MOVED = f"SELECT DISTINCT wheel_id FROM ({STEPS}) AS every"


@transaction.atomic
def place_again(wheel_ids: Collection[int]) -> None:
    """Work out again where these wheels lie; called by every service that writes a step."""
    wheels = lock(wheel_ids)
    if not wheels:
        return
    # Twice over the rivals would change nothing: their own steps did not change.
    wheels = lock({*wheels, *ids(_RIVALS, wheels)})
    moved = set(ids(_MOVED, wheels))
    WheelPlace.objects.filter(wheel_id__in=set(wheels) - moved).delete()
    with connection.cursor() as cursor:
        cursor.execute(_WRITE, {"wheels": sorted(moved), "at": EVER})


def lock(wheel_ids: Collection[int]) -> list[int]:
    """Wait for whoever else is moving these wheels, in one order for all. Their keys."""
    wheels = Wheel.objects.filter(pk__in=wheel_ids).order_by("pk").select_for_update(no_key=True)
    return list(wheels.values_list("pk", flat=True))


def ids(statement: str, wheels: Collection[int]) -> Iterator[int]:
    with connection.cursor() as cursor:
        cursor.execute(statement, {"wheels": list(wheels)})
        yield from (row[0] for row in cursor.fetchall())


@transaction.atomic
def rebuild_all() -> int:
    """Work out again where every wheel lies; how many have been moved at all."""
    WheelPlace.objects.all().delete()
    wheels = list(Wheel.objects.order_by("pk").values_list("pk", flat=True))
    for first in range(0, len(wheels), AT_ONCE):
        place_again(wheels[first : first + AT_ONCE])
    return WheelPlace.objects.count()


def place_all_again() -> int:
    """As ``rebuild_all``, a part at a time, so that nobody's writing waits for long."""
    wheels = list(Wheel.objects.order_by("pk").values_list("pk", flat=True))
    for first in range(0, len(wheels), A_PART):
        place_again(wheels[first : first + A_PART])
    return len(wheels)


@transaction.atomic
def strike_step(entry: Any, *, by: User, reason: str, words: str = "", **options: Any) -> Entry:
    """Strike a step of a wheel; it lies where the step before it says. Raises as ``strike``."""
    struck: Entry = entries.strike(entry, by=by, reason=reason, words=words, **options)
    place_again([entry.wheel_id])
    return struck


def soaking(wheel_ids: Collection[int], at: datetime) -> dict[int, tuple[int, datetime]]:
    """By wheel in brine at ``at``: the stay (key) it lay there by, and when it first went in."""
    with connection.cursor() as cursor:
        cursor.execute(_LAST, {"wheels": list(wheel_ids), "at": at})
        return {row[0]: (row[2], row[6]) for row in cursor.fetchall() if row[1] == IN_BRINE}


def lying_on(place_ids: Collection[int]) -> dict[int, Wheel]:
    """By place (key), the wheel that lies on it."""
    rows = WheelPlace.objects.filter(place__in=place_ids).select_related("wheel__vat")
    return {row.place_id: row.wheel for row in rows if row.place_id is not None}
