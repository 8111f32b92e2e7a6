"""What is sent of limits, cheese, findings and recalls, and what differs when written again."""

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
    "residues": (
        EVENING + HOUR,
        {"lot": "LOT", "substance": "tylosin", "written": "12,5", "sample": "S2"},
        {"written": "<2"},
    ),
    "residue-limits": (
        NEXT_DAY,
        {"substance": "tylosin", "at_most": "50", "scheme": "a test"}
        | {"valid_from": "2026-06-01", "source": "invented"},
        {"at_most": "60"},
    ),
    "cheese-limits": (
        NEXT_DAY,
        {"what": "staphylococci", "units": 5, "between": 2, "low": "1000", "high": "10000"}
        | {"scheme": "a test", "valid_from": "2026-06-01", "source": "invented"},
        {"high": "20000"},
    ),
}
RECALLS: dict[str, tuple[Any, dict[str, Any], dict[str, Any]]] = {
    "wheel-discards": (
        NEXT_DAY + 700 * HOUR,
        {"wheel": "WHEEL", "how": "destroyed", "where_to": "a plant", "paper": "D 4"}
        | {"witness": "a neighbour"},
        {"kg": "39"},
    ),
    "outside-findings": (
        NEXT_DAY + 800 * HOUR,
        {
            "found_by": "laboratory",
            "who": "a laboratory",
            "about_kind": "wheel",
            "about": "WHEEL",
            "what": "residue",
            "substance": "an antibiotic",
            "result": "12 µg/kg",
            "paper": "L 7",
        },
        {"result": "21 µg/kg"},
    ),
    "outside-steps": (
        NEXT_DAY + 810 * HOUR,
        {"finding": "FINDING", "what": "cause", "words": "no band"},
        {"words": "no leg band"},
    ),
    "recalls": (
        NEXT_DAY + 800 * HOUR,
        {
            "root_kind": "wheel",
            "root": "WHEEL",
            "reach": "itself",
            "reason": "a drill",
            "drill": True,
        },
        {"reason": "a drill, once more"},
    ),
    "recall-steps": (
        NEXT_DAY + 800 * HOUR,
        {"recall": "RECALL", "what": "found", "wheel": "WHEEL", "place": "aisle 2"},
        {"place": "aisle 3"},
    ),
    "products-out": (
        NEXT_DAY + 10 * HOUR,
        {"what": "butter", "of_day": "2026-06-09", "buyer": "BUYER", "kg": "14", "paper": "B1"},
        {"kg": "14.5"},
    ),
}
