"""The limits every estate starts with, from ``fixtures/milk_limits.json``; each row has its source.

Which schemes count is a setting (``ESTATE_SCHEMES``); the rows of others are there to be read.
"""

import json
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction

from config.entries import Stamp
from milk.models import Limit
from milk.services.limits import record_limit

FILE = "milk_limits.json"
NUMBERS = ("at_most", "at_least")
KEY = ("what", "of", "of_last", "scheme", "valid_from")


@transaction.atomic
def load_reference(stamp: Stamp) -> int:
    """Write the limits that are not in the book yet; the number written, 0 the second time."""
    known = set(Limit.objects.standing().values_list(*KEY))
    new = [row for row in rows() if tuple(row.get(name, 0) for name in KEY) not in known]
    for row in new:
        record_limit(stamp=stamp.again(), **row)
    return len(new)


def rows() -> list[dict[str, Any]]:
    """The rows of the file, with numbers and days as such."""
    path = Path(settings.BASE_DIR) / "fixtures" / FILE
    read = json.loads(path.read_text(encoding="utf-8"))
    for row in read:
        row["valid_from"] = date.fromisoformat(row["valid_from"])
        row.update({name: Decimal(row[name]) for name in NUMBERS if name in row})
    return list(read)
