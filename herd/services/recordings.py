"""Milk recordings: written, taken back, and until when each cell count is the latest."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import connection, transaction

from config import entries
from config.entries import Stamp
from herd.models import Animal, Recording


@transaction.atomic
def record_recording(*, stamp: Stamp, animal: Animal, **fields: Any) -> Recording:
    """Write what the laboratory found in one cow's milk; a late one finds its place."""
    recording = entries.record(Recording, stamp=stamp, animal=animal, **fields)
    set_valid_to([animal.pk])
    recording.refresh_from_db(fields=["valid_to"])
    return recording


@transaction.atomic
def strike_recording(
    recording: Recording, *, by: Any, reason: str, words: str = "", at: datetime | None = None
) -> Recording:
    """Take a recording back; the one before it is the latest again."""
    recording = entries.strike(recording, by=by, reason=reason, words=words, at=at)
    set_valid_to([recording.animal_id])
    return recording


def set_valid_to(animal_ids: Sequence[int]) -> int:
    """Compute until when each cell count of these animals is the latest; the rows changed.

    One statement for any number of animals. Recordings without a count are never the latest.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            """
            WITH held AS (
                SELECT id, lead(happened_at) OVER (
                    PARTITION BY animal_id ORDER BY happened_at, session, id) AS valid_to
                FROM herd_recording
                WHERE struck_at IS NULL AND cells IS NOT NULL AND animal_id = ANY(%s))
            UPDATE herd_recording AS recording SET valid_to = held.valid_to
            FROM held
            WHERE held.id = recording.id AND recording.valid_to IS DISTINCT FROM held.valid_to
            """,
            [list(animal_ids)],
        )
        changed: int = cursor.rowcount
        return changed
