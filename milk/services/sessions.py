"""A milking of the whole herd written in one act, its lots computed once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from milk.models import Milking
from milk.services.changing import flowed_otherwise
from milk.services.cow_rows import TANK, CowRow, insert_new
from milk.services.lots import lock_tanks
from milk.services.milkings import KG_MISSING, check_milking, check_rows, sum_of

TWO_GROUPS = N_("{animals} stand in the rows of two groups. A cow is milked in one of them.")


@dataclass(frozen=True, kw_only=True)
class GroupMilked:
    """One group of it: who and when, the rows, and the other fields of the milking."""

    stamp: Stamp
    cows: Sequence[CowRow]
    fields: dict[str, Any] = field(default_factory=dict)


@transaction.atomic
def record_session(*, day: date, session: str, groups: Sequence[GroupMilked]) -> list[Milking]:
    """Write the milkings of several groups with their rows; all of them, or nothing.

    Raises ValidationError by field.
    """
    lock_tanks()
    check_apart(groups)
    made: list[Milking] = entries.record_all(
        Milking, [(one.stamp, checked(day, session, one)) for one in groups]
    )
    flowed_otherwise(*made)
    insert_new([(milking, one.cows) for milking, one in zip(made, groups, strict=True)])
    return made


def check_apart(groups: Sequence[GroupMilked]) -> None:
    """Refuse a cow that is in the rows of two groups."""
    seen: dict[int, int] = {}
    twice = []
    for place, one in enumerate(groups):
        for row in one.cows:
            if seen.setdefault(row.animal.id, place) != place:
                twice.append(str(row.animal))
    if twice:
        raise ValidationError({"cows": _(TWO_GROUPS).format(animals=", ".join(twice[:5]))})


def checked(day: date, session: str, one: GroupMilked) -> Mapping[str, Any]:
    """The fields of one milking, without its rows. Raises ValidationError by field."""
    fields = dict(one.fields)
    kg, tank, ended_at = (fields.pop(name, None) for name in ("kg", "tank", "ended_at"))
    check_milking(one.stamp, fields["group"], day, tank, kg, ended_at)
    check_rows(one.cows)
    measured = any(row.goes == TANK or row.grams for row in one.cows)
    if kg is None and not measured:
        raise ValidationError({"kg": _(KG_MISSING)})
    return {
        "day": day,
        "session": session,
        "tank": tank,
        "ended_at": ended_at,
        "read_kg": kg,
        "kg": sum_of(one.cows) if kg is None else kg,
        "metered": measured,
        **fields,
    }
