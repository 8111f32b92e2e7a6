"""Where wheels are: in brine, on a place of the store, sent to a buyer, or still in the dairy."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from milk.models import BrineStay, Dispatch, StoreStay

IN_DAIRY, IN_BRINE, IN_STORE, SENT = "dairy", "brine", "store", "sent"


@dataclass(frozen=True)
class Place:
    """Where a wheel is since ``at``: ``kind`` (one of the names above) and words for people."""

    kind: str
    words: str
    at: datetime | None = None

    def __str__(self) -> str:
        return self.words


DAIRY = Place(IN_DAIRY, "in the dairy")


def where_is(wheel_ids: Collection[int], at: datetime | None = None) -> dict[int, Place]:
    """By wheel (key), where it was last written to be, at ``at`` or now. Three statements."""
    found: dict[int, tuple[Any, Place]] = {}
    for entry, place in (*sent(wheel_ids), *stored(wheel_ids), *salted(wheel_ids)):
        if at is not None and entry.happened_at > at:
            continue
        order = (entry.happened_at, entry.written_at)
        if entry.wheel_id not in found or order > found[entry.wheel_id][0]:
            found[entry.wheel_id] = (order, place)
    return {number: found[number][1] if number in found else DAIRY for number in wheel_ids}


def sent(wheel_ids: Collection[int]) -> list[tuple[Any, Place]]:
    rows = Dispatch.objects.standing().filter(wheel_id__in=wheel_ids).select_related("buyer")
    return [(row, Place(SENT, f"sent to {row.buyer}", row.happened_at)) for row in rows]


def stored(wheel_ids: Collection[int]) -> list[tuple[Any, Place]]:
    rows = StoreStay.objects.standing().filter(wheel_id__in=wheel_ids).select_related("place")
    return [(row, Place(IN_STORE, f"store: {row.place}", row.happened_at)) for row in rows]


def salted(wheel_ids: Collection[int]) -> list[tuple[Any, Place]]:
    rows = BrineStay.objects.standing().filter(wheel_id__in=wheel_ids)
    return [
        (
            row,
            Place(
                IN_BRINE,
                f"brine, bath {row.bath}" + (f", row {row.row}" if row.row else ""),
                row.happened_at,
            ),
        )
        for row in rows
    ]
