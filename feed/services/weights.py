"""The weight of a load when it comes from the scale: the guess is written again, as weighed."""

from decimal import Decimal

from django.db import transaction

from config.entries import Stamp
from feed.models import ForageBatch
from feed.services.batches import correct_batch

WEIGHED = "weighed"
KEPT = (
    "field",
    "air_temperature",
    "wet",
    "chopped",
    "dry_matter",
    "onto",
    "foreign_matter",
    "early_reason",
    "remark",
)


@transaction.atomic
def weigh_batch(
    *, stamp: Stamp, batch: ForageBatch, kg: Decimal, foreign_matter: str = ""
) -> ForageBatch:
    """Write a load again with its weight from the scale; everything else stays as it was.

    ``foreign_matter``: what came out of the wagon, added to what was written. Raises Conflict when
    the load is struck, ValidationError by field, as when more than ``kg`` is fed already.
    """
    values = {name: getattr(batch, name) for name in KEPT}
    if foreign_matter.strip():
        values["foreign_matter"] = foreign_matter.strip()
    return correct_batch(
        batch,
        stamp=Stamp.now(stamp.by, batch.happened_at, device=stamp.device),
        reason="quantity",
        words=WEIGHED,
        kg=kg,
        weighed=True,
        **values,
    )
