"""What is summed, and how: pure. The same rules in few words stand in tools/verify_chain.py.

A line is one JSON object in the canonical form: keys in order, no blanks between, UTF-8; moments in
UTC to the microsecond, decimals without closing zeros, and what is not filled in left out.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from decimal import Decimal
from hashlib import sha256
from typing import Any
from uuid import UUID

# As many bytes of each line's sum are kept beside the seal; they tell which line was changed.
MARK = 8
# The first day has none before it.
NOTHING_BEFORE = "0" * 64


def plain(value: Any) -> Any:
    """A value as JSON can hold it, the same on every server and in every version of ours."""
    match value:
        case bool() | int() | str() | None:
            return value
        case Decimal():
            return decimal_text(value)
        case datetime():
            return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
        case date() | time():
            return value.isoformat()
        case UUID():
            return str(value)
        case Mapping():
            return {str(key): plain(each) for key, each in value.items()}
        case list() | tuple():
            return [plain(each) for each in value]
        case float():
            return repr(value)
    raise TypeError(f"{type(value).__name__} has no canonical form")


def decimal_text(value: Decimal) -> str:
    """A decimal as digits, without an exponent and without zeros at its end ("12.5", "0")."""
    text = format(value, "f")
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


def canonical(told: Mapping[str, Any]) -> bytes:
    """The one text of an object; what is empty in it is left out."""
    filled = {name: plain(value) for name, value in told.items() if value not in (None, "")}
    return dumped(filled)


def dumped(told: Any) -> bytes:
    """JSON with its keys in order and no blanks, as UTF-8."""
    text = json.dumps(told, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return text.encode()


@dataclass(frozen=True)
class Part:
    """The lines of one kind on one day: how many, their sum, and a mark of each in order."""

    lines: int
    sha256: str
    marks: bytes


def part_of(digests: Iterable[bytes]) -> Part:
    """The part of lines with these sums (SHA-256), in whatever order they come."""
    ordered = sorted(digests)
    whole = sha256()
    for digest in ordered:
        whole.update(digest.hex().encode())
    return Part(len(ordered), whole.hexdigest(), b"".join(digest[:MARK] for digest in ordered))


def marks_in(marks: bytes) -> list[bytes]:
    """Marks one by one."""
    return [marks[at : at + MARK] for at in range(0, len(marks), MARK)]


def head_of(day: date, before: str, parts: Mapping[str, Any]) -> str:
    """The head of a day: the sum over the day, the head before it, and each part as it is kept."""
    return sha256(
        dumped({"day": day.isoformat(), "before": before, "parts": dict(parts)})
    ).hexdigest()
