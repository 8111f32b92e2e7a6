"""What was found on wheels, and their grades."""

from decimal import Decimal
from typing import Any

from django.db import transaction

from config.entries import Stamp
from milk.models import Inspection, Wheel
from milk.services.flowing import check_weight
from milk.services.store import of_wheel


@transaction.atomic
def record_inspection(
    *, stamp: Stamp, wheel: Wheel, kg: Decimal | None = None, **fields: Any
) -> Inspection:
    """Write down what was found on a wheel. Raises ValidationError by field."""
    check_weight(kg)
    looked: Inspection = of_wheel(Inspection, stamp, wheel, kg=kg, **fields)
    return looked
