"""Dry-matter samples: of a load after its cut, within what such a feed can hold."""

from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from config.templatetags.sheet import amount
from feed.models import DryMatterSample, FeedLot, Field, ForageBatch
from feed.models.batches import GRASS_DRY_MATTER
from feed.services.left import STRUCK, check_begun

NOT_GRASS = N_(
    "Fresh grass holds {least} to {most} % dry matter, and this says {percent} %. Look at the "
    "number; hay and meal are feed lots."
)


def record_sample(
    *,
    stamp: Stamp,
    percent: Decimal,
    batch: ForageBatch | None = None,
    field: Field | None = None,
    feed_lot: FeedLot | None = None,
    **fields: Any,
) -> DryMatterSample:
    """Write a sample of a load, of a field's grass or of a feed lot. Raises ValidationError."""
    for name, thing in (("batch", batch), ("field", field), ("feed_lot", feed_lot)):
        if thing is not None and thing.is_struck:
            raise ValidationError({name: _(STRUCK).format(thing=thing)})
    if batch is not None:
        check_begun(batch, stamp.happened_at)
    least, most = GRASS_DRY_MATTER
    if feed_lot is None and not least <= percent <= most:
        words = _(NOT_GRASS).format(least=least, most=most, percent=amount(percent))
        raise ValidationError({"percent": words})
    return entries.record(
        DryMatterSample,
        stamp=stamp,
        percent=percent,
        batch=batch,
        field=field,
        feed_lot=feed_lot,
        **fields,
    )
