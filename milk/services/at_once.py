"""Many entries of one kind in one act: all of them are written, or none."""

from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from config.entries import Stamp
from config.errors import Conflict
from milk.models import Skimming, Tray, Wheel, WheelWeight
from milk.services.plates import record_weight
from milk.services.skimming import record_skimming

WHEN = "happened_at"


@transaction.atomic
def weigh_wheels(
    *, stamp: Stamp, weights: Sequence[tuple[str, Wheel, Decimal]]
) -> list[WheelWeight]:
    """Write the weights of wheels: (name of its field, wheel, kg) each.

    Raises ValidationError by the names of the fields; nothing is saved then.
    """
    return written(
        stamp, weights, lambda one, wheel, kg: record_weight(stamp=one, wheel=wheel, kg=kg)
    )


@transaction.atomic
def skim_trays(*, stamp: Stamp, skimmed: Sequence[tuple[str, Tray, Decimal]]) -> list[Skimming]:
    """Write the cream taken off trays: (name of its field, tray, kg) each. Raises as above."""
    return written(
        stamp, skimmed, lambda one, tray, kg: record_skimming(stamp=one, tray=tray, cream_kg=kg)
    )


def written(
    stamp: Stamp, rows: Sequence[tuple[str, Any, Decimal]], write: Callable[..., Any]
) -> list[Any]:
    """Write each row; what is refused is told at its own field, of all rows together."""
    made: list[Any] = []
    wrong: dict[str, list[str]] = {}
    for name, thing, value in rows:
        try:
            with transaction.atomic():
                made.append(write(stamp if not made else stamp.again(), thing, value))
        except (ValidationError, Conflict) as refused:
            wrong[name] = words_of(refused)
    if wrong:
        raise ValidationError(wrong)
    return made


def words_of(refused: Exception) -> list[str]:
    """What a refusal says."""
    return refused.messages if isinstance(refused, ValidationError) else [str(refused)]
