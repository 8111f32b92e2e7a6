"""One way through for a change of what flowed: strike it, and compute the lots again without it."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.contrib.auth.models import User
from django.db import transaction

from config import entries
from config.entries import EntryT
from milk.services.flowing import milk_moved, tanks_of
from milk.services.lots import lock_tanks, rebuild
from milk.services.open_ends import ask_for_ends


@transaction.atomic
def strike_milk(entry: EntryT, *, by: User, reason: str, words: str = "", **options: Any) -> EntryT:
    """Strike a milking, a draw or what was done with a tank; lots and vats follow.

    Raises Conflict when it is struck already, or when standing entries hang on it.
    """
    lock_tanks()
    struck = entries.strike(entry, by=by, reason=reason, words=words, **options)
    flowed_otherwise(struck)
    return struck


def flowed_otherwise(*changed: Any, vats: Iterable[int] = ()) -> None:
    """Compute the lots and vats again after entries of flowing milk were written or changed.

    ``changed``: the entries as they were and as they are; ``vats``: further vats (keys).
    """
    filled = {entry.vat_id for entry in changed if getattr(entry, "vat_id", None)}
    since, until = span_of(changed)
    tanks = tanks_of(*changed)
    rebuild(tanks=tanks, since=since, until=until, vats={*filled, *vats})
    if tanks:
        ask_for_ends(tanks, since, until)
    milk_moved()


def span_of(changed: Iterable[Any]) -> tuple[datetime, datetime]:
    """From the first moment to the last at which any of the entries flows."""
    entries_ = list(changed)
    ends = [getattr(entry, "ended_at", None) or entry.happened_at for entry in entries_]
    return min(entry.happened_at for entry in entries_), max(ends)
