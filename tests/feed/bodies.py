"""One valid body of each of the feed's kinds of entry, for tests of API and pages."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.utils.timezone import localtime

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


def field_walk() -> Body:
    return {"field": number(make.make_field()), "cover": 2400, "remark": "docks by the gate"}


def wait_rule() -> Body:
    return {
        "what": "slurry",
        "waiting_days": 42,
        "caution_days": 0,
        "valid_from": "2026-06-02",
        "source": "house judgement",
    }


def clearance_rule() -> Body:
    return {
        "valid_from": "2026-06-02",
        "clear_by": "06:00:00",
        "instead": False,
        "first_share": "0.25",
        "heap_over_air": "8.0",
        "heap_top": "35.0",
        "source": "common practice",
    }


def air_hour() -> Body:
    return {
        "hour": localtime(make.on_the_hour(AT)).isoformat(),
        "celsius": "21.4",
        "forecast": False,
        "source": "thermometer at the barn",
    }


def feed_rule() -> Body:
    return {
        "scheme": "estate",
        "name": "fermented feed",
        "act": "refuse",
        "kept_as": "fermented",
        "valid_from": "2026-06-02",
        "source": "invented",
    }


def feed_figure() -> Body:
    return {
        "name": "wagon",
        "value": "9000.000",
        "valid_from": "2026-06-02",
        "source": "the wagon's plate",
    }


def grass_target() -> Body:
    return {
        "group": number(make.make_fed_group()),
        "dry_matter_kg": "9.00",
        "valid_from": "2026-06-02",
    }


def dry_matter_sample() -> Body:
    return {"batch": number(make.make_batch()), "percent": "17.0", "method": "microwave"}


def stack_check() -> Body:
    return {"feed_lot": number(make.make_feed_lot()), "inside": "31.5", "smell": "none"}


def feed_share_rule() -> Body:
    return {
        "name": "hay",
        "kind": "hay",
        "of": "forage dry matter",
        "at_least": "50.00",
        "unit": "%",
        "over": "group",
        "scheme": "estate",
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
    return {
        "kind": "hay",
        "name": "stack 4",
        "field": number(make.make_field()),
        "kg": "8000.0",
        "kept_as": "dry",
    }


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
    "field-walks": (field_walk, "feed hand", "office", {"cover": 20_000}),
    "wait-rules": (wait_rule, "vet", "feed hand", {"caution_days": 14}),
    "clearance-rules": (clearance_rule, "vet", "feed hand", {"first_share": "1.5"}),
    "air-hours": (air_hour, "feed hand", "milker", {"celsius": "80"}),
    "feed-rules": (feed_rule, "vet", "feed hand", {"kept_as": ""}),
    "feed-figures": (feed_figure, "vet", "feed hand", {"value": "100"}),
    "grass-targets": (grass_target, "feed hand", "office", {"dry_matter_kg": "31"}),
    "dry-matter-samples": (dry_matter_sample, "feed hand", "office", {"percent": "55"}),
    "stack-checks": (stack_check, "feed hand", "office", {"inside": "200"}),
    "feed-lots": (feed_lot, "office", "vet", {"kind": "silage"}),
}
# Parents keep their number when they are written again; the others are struck and replaced.
KEEP_NUMBER = {"fields", "forage-batches", "feed-lots"}


def whole(slug: str, at: datetime = AT) -> Body:
    """A valid body with the time it happened."""
    return {"happened_at": at.isoformat(), **KINDS[slug][0]()}
