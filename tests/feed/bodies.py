"""One valid body of each of the feed's kinds of entry, for tests of API and pages."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from config.entries import Entry
from tests.factories import feed as make
from tests.factories.herd import HOUR, NOON

AT = NOON + HOUR
Body = dict[str, Any]


def number(entry: Entry) -> str:
    return str(entry.uuid)


def field() -> Body:
    return {"name": "Mill Field", "hectares": "12.50", "crop": "ley, second year"}


def field_work() -> Body:
    return {"field": number(make.make_field()), "what": "slurry", "waiting_days": 42}


def window_rule() -> Body:
    return {
        "valid_from": "2026-06-02",
        "from_temperature": "22.0",
        "hours": "12.0",
        "wet_factor": "0.75",
        "first_share": "0.25",
        "extension_share": "0.25",
        "heap_over_air": "8.0",
        "heap_top": "35.0",
        "source": "house judgement",
    }


def feed_share_rule() -> Body:
    return {
        "name": "hay",
        "kind": "hay",
        "of": "forage dry matter",
        "at_least": "50.00",
        "over": "group",
        "scheme": "invented",
        "valid_from": "2026-06-02",
        "source": "invented",
    }


def forage_batch() -> Body:
    make.make_window_rules()
    return {"field": number(make.make_field()), "kg": "9000.0", "air_temperature": "24.0"}


def heap_check() -> Body:
    return {"batch": number(make.make_batch()), "heap": "21.5", "air": "18.0"}


def feeding() -> Body:
    return {
        "batch": number(make.make_batch()),
        "group": number(make.make_fed_group()),
        "kg": "1200.0",
    }


def refusal() -> Body:
    return {"group": number(make.make_fed_group()), "kg": "60.0", "state": "fresh"}


def discard() -> Body:
    return {
        "batch": number(make.make_batch()),
        "kg": "900.0",
        "why": "mouldy",
        "where_to": "manure heap",
    }


def feed_lot() -> Body:
    return {"kind": "hay", "name": "stack 4", "field": number(make.make_field()), "kg": "8000.0"}


# slug -> (a valid body, who may write it, who may not, a value that is refused)
KINDS: dict[str, tuple[Callable[[], Body], str, str, Body]] = {
    "fields": (field, "office", "vet", {"hectares": "0"}),
    "field-works": (field_work, "feed hand", "vet", {"waiting_days": -1}),
    "window-rules": (window_rule, "vet", "feed hand", {"hours": "0.1"}),
    "feed-share-rules": (feed_share_rule, "vet", "office", {"at_least": None}),
    "forage-batches": (forage_batch, "feed hand", "milker", {"kg": "499"}),
    "heap-checks": (heap_check, "feed hand", "stockman", {"heap": "200"}),
    "feedings": (feeding, "feed hand", "cheesemaker", {"kg": "9000.1"}),
    "refusals": (refusal, "feed hand", "office", {"kg": "0"}),
    "discards": (discard, "feed hand", "milker", {"where_to": "dry cows"}),
    "feed-lots": (feed_lot, "office", "vet", {"kind": "silage"}),
}
# Parents keep their number when they are written again; the others are struck and replaced.
KEEP_NUMBER = {"fields", "forage-batches", "feed-lots"}


def whole(slug: str, at: datetime = AT) -> Body:
    """A valid body with the time it happened."""
    return {"happened_at": at.isoformat(), **KINDS[slug][0]()}
