"""Many entries written at once, with the same columns a service would give them."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any, TypeVar

from config.entries import Entry, offset_minutes

EntryT = TypeVar("EntryT", bound=Entry)
WRITTEN_AFTER = timedelta(minutes=4)


def entry(model: type[EntryT], by: Any, happened_at: datetime, **fields: Any) -> EntryT:
    """An unsaved entry written a few minutes after it happened."""
    written_at = happened_at + WRITTEN_AFTER
    return model(
        by=by,
        happened_at=happened_at,
        written_at=written_at,
        received_at=written_at,
        zone_offset=offset_minutes(happened_at),
        device="demo",
        **fields,
    )


def write(rows: Iterable[EntryT]) -> list[EntryT]:
    """Insert entries of one model, in the order given; their keys are set."""
    made = list(rows)
    if made:
        type(made[0])._base_manager.bulk_create(made, batch_size=2000)
    return made
