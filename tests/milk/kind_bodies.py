"""What is sent of limits and cheese, and what is different when it is written again."""

from datetime import timedelta
from typing import Any

from tests.factories.milk import EVENING

HOUR = timedelta(hours=1)
NEXT_DAY = EVENING + 20 * HOUR
LIMITS_AND_CHEESE: dict[str, tuple[Any, dict[str, Any], dict[str, Any]]] = {
    "limits": (
        NEXT_DAY,
        {"what": "cells", "of": "single", "at_most": "300", "unit": "thousand per ml"}
        | {"times": 0, "of_last": 0, "gap_days": 0}
        | {"scheme": "a test", "valid_from": "2026-06-01"}
        | {"source": "invented"},
        {"at_most": "350"},
    ),
    "herd-statuses": (
        NEXT_DAY,
        {"disease": "tuberculosis", "free": True, "source": "a certificate, invented"},
        {"disease": "brucellosis"},
    ),
    "cheese-tests": (
        NEXT_DAY + 96 * HOUR,
        {"vat": "VAT", "what": "staphylococci", "written": "5000; <10; 8000; 9000; 20"},
        {"written": "5000; <10; 8000; 9000; 30"},
    ),
    "cheese-limits": (
        NEXT_DAY,
        {"what": "staphylococci", "units": 5, "between": 2, "low": "1000", "high": "10000"}
        | {"scheme": "a test", "valid_from": "2026-06-01", "source": "invented"},
        {"high": "20000"},
    ),
}
