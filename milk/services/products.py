"""Cream, butter and whey that leave the estate."""

from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local_day
from config.entries import Stamp
from herd.models import Holding
from milk.models import ProductOut
from milk.services.flowing import check_stands, check_weight

NOT_MADE_YET = N_("It left on {left}; it cannot be of the milk of {day}, which came later.")


@transaction.atomic
def record_product_out(
    *, stamp: Stamp, buyer: Holding, kg: Decimal, of_day: date, **fields: Any
) -> ProductOut:
    """Write down what left, of which day's milk. Raises ValidationError by field."""
    check_stands(buyer, "buyer")
    check_weight(kg)
    left = local_day(stamp.happened_at)
    if of_day > left:
        raise ValidationError({"of_day": _(NOT_MADE_YET).format(left=left, day=of_day)})
    made: ProductOut = entries.record(
        ProductOut, stamp=stamp, buyer=buyer, kg=kg, of_day=of_day, **fields
    )
    return made
