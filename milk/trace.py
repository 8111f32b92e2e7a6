"""The trace: back from cheese to animals, courses and grass, and forward from those to the cheese.

The one entry: ``back(kind, what)`` and ``forward(kind, what)``. Reads only; the answer is that of
the book at this moment, so a late entry is in it as soon as it is written. The only module, with
the ``trace_…`` ones it is made of, that reads the tables of all three apps.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from time import perf_counter
from typing import Any

from django.db import connection
from django.utils import timezone

from config.asking import in_a_row
from feed.models import FeedLot, ForageBatch
from milk import trace_back, trace_forward, trace_may, trace_start
from milk.held import HeldBy, Thing, open_holds
from milk.held_above import Made, send_named_ahead
from milk.places import Place, where_is
from milk.places import send_ahead as send_places_ahead
from milk.trace_find import KINDS, WAYS, NothingToTrace, find, name_of
from milk.trace_parts import MayFeed
from milk.trace_sql import RULE, Reader
from milk.trace_start import Span, Start

__all__ = ["KINDS", "WAYS", "NothingToTrace", "TraceBack", "TraceForward", "back", "forward"]

# The dated row that says how long before a milking feed counts, and what counts without one.
FED_BEFORE = "feed traced before a milking"
FED_BEFORE_WITHOUT_RULE = timedelta(hours=48)
# A group gives milk twice a day for years: unless asked for more, so much of it is told.
GROUP_SPAN = timedelta(days=30)

Held = dict[tuple[Thing, int], list[HeldBy]]


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What both ways have: from what, as at when, what is held, where wheels are, and how fast.

    ``fed_before``: how long before a milking feed counts. ``may_feeds``: loads of which nobody
    wrote where the rest went, with the groups that may have had it.
    """

    kind: str
    thing: Any
    as_at: datetime
    fed_before: timedelta
    held: Held
    places: dict[int, Place]
    took_ms: float
    reader: Reader
    may_feeds: list[MayFeed]

    @property
    def name(self) -> str:
        return name_of(self.kind, self.thing)

    @property
    def holds(self) -> list[HeldBy]:
        """Every hold of the answer once, oldest first."""
        found = {one.hold.pk: one for held in self.held.values() for one in held}
        return sorted(found.values(), key=lambda one: (one.hold.happened_at, one.hold.pk))

    def is_held(self, thing: Thing, pk: int) -> bool:
        return (thing, pk) in self.held


@dataclass(frozen=True, kw_only=True)
class TraceBack(Answer):
    """Everything above a wheel, vat or lot."""

    found: trace_back.Found

    @property
    def thing_held(self) -> list[HeldBy]:
        """The holds on the thing itself."""
        thing: Thing = {"wheel": "wheel", "vat": "vat"}.get(self.kind, "lot")  # type: ignore[assignment]
        return self.held.get((thing, self.thing.pk), [])


@dataclass(frozen=True, kw_only=True)
class TraceForward(Answer):
    """Everything below an animal, course, load, feed lot, field, group or lot.

    ``may``: what the groups of ``may_feeds`` gave, as far as nothing sure is in it; None without
    such a load.
    """

    found: trace_forward.Found
    span: Span
    may: trace_forward.Found | None


def back(
    kind: str, what: Any, *, at: datetime | None = None, fed_before: timedelta | None = None
) -> TraceBack:
    """From a wheel, vat or lot to its lots, animals, courses, feed and holds.

    ``what``: the thing, its uuid or what people call it. ``at``: the moment of "as at" (default
    now): later holds and moves of wheels are left out. ``fed_before``: overrides the dated rule of
    how long before a milking feed counts. Raises NothingToTrace.
    """
    connection.ensure_connection()
    began = perf_counter()
    thing = find("back", kind, what)
    as_at = at or timezone.now()
    reader = Reader()
    vat = thing.pk if kind == "vat" else thing.vat_id if kind == "wheel" else None
    lot = thing.pk if kind == "lot" else None
    with in_a_row():
        if fed_before is None:
            reader.ahead(RULE, **rule_asked(as_at))
        trace_back.send_ahead(reader, vat=vat, lot=lot)
        before = fed_before or fed_before_rule(as_at, reader)
        wheel = thing.pk if kind == "wheel" else None
        top = trace_back.read_top(reader, vat=vat, lot=lot, wheel=wheel)
        wheels = [wheel.pk for wheel in top.wheels]
        may_be_held = things_above(top, vat)
        send_named_ahead(**may_be_held)
        send_places_ahead(wheels, as_at)
        found = trace_back.read_back(reader, top, before)
        may_feeds = trace_may.may_before(
            reader, found.milkings, found.feeds, before, timezone.now()
        )
        held, places = open_holds(**may_be_held), where_is(wheels, as_at)
    return TraceBack(
        kind=kind,
        thing=thing,
        as_at=as_at,
        fed_before=before,
        held=known_by(held, as_at),
        places=places,
        took_ms=(perf_counter() - began) * 1000,
        reader=reader,
        may_feeds=may_feeds,
        found=found,
    )


def things_above(top: trace_back.Top, vat: int | None) -> dict[str, Any]:
    """What may be held of the things of a trace back, as ``open_holds`` is asked about it."""
    wheels = [wheel.pk for wheel in top.wheels]
    in_vats = {vat: top.in_vat} if vat else {}
    return {
        "lot_ids": [row.pk for row in top.rows if not row.void],
        "vat_ids": list(in_vats),
        "wheel_ids": wheels,
        "made": Made(dict.fromkeys(wheels, vat or 0), in_vats, top.parents),
    }


def forward(
    kind: str,
    what: Any,
    *,
    since: datetime | None = None,
    until: datetime | None = None,
    at: datetime | None = None,
    fed_before: timedelta | None = None,
) -> TraceForward:
    """From an animal, course, load, feed lot, field, group or lot to vats and wheels.

    ``since``, ``until``: only milkings that began in between (a group: the last 30 days when both
    are left out). The rest as in ``back``. Raises NothingToTrace.
    """
    connection.ensure_connection()
    began = perf_counter()
    thing = find("forward", kind, what)
    as_at = at or timezone.now()
    reader = Reader()
    if kind == "group" and since is None:
        since = (until or as_at) - GROUP_SPAN
    span = Span(since or trace_start.BEGINNING, until or trace_start.END)
    with in_a_row():
        start = start_of(reader, kind, thing, span, as_at, fed_before)
        if fed_before is None:
            reader.ahead(RULE, **rule_asked(as_at))
        found = trace_forward.read_forward(reader, start, as_at)
        before = fed_before or fed_before_rule(as_at, reader)
        may_feeds, may = trace_may.may_below(reader, found, span, before, timezone.now())
        held, places = held_below([found, may] if may else [found], as_at)
    return TraceForward(
        kind=kind,
        thing=thing,
        as_at=as_at,
        fed_before=before,
        held=held,
        places=places,
        took_ms=(perf_counter() - began) * 1000,
        reader=reader,
        may_feeds=may_feeds,
        found=found,
        span=span,
        may=may,
    )


def held_below(told: list[trace_forward.Found], as_at: datetime) -> tuple[Held, dict[int, Place]]:
    """What is held of what is below a start, and where its wheels are."""
    wheels = {wheel.pk: wheel.vat_id for one in told for wheel, _ in one.wheels}
    held = open_holds(
        lot_ids=[lot.row.pk for one in told for lot in one.lots],
        vat_ids=[vat.pk for one in told for vat in one.vats],
        wheel_ids=wheels,
        made=Made(wheels, {}),
    )
    return known_by(held, as_at), where_is(wheels, as_at)


def feeds_of(kind: str, thing: Any) -> tuple[list[int], list[int]]:
    """The loads and the feed lots (keys) that a trace forward starts from, if it is of feed."""
    match kind:
        case "batch":
            return [thing.pk], []
        case "feed-lot":
            return [], [thing.pk]
        case "field":
            return (
                keys(ForageBatch.objects.standing().filter(field=thing)),
                keys(FeedLot.objects.standing().filter(field=thing)),
            )
    return [], []


def start_of(
    reader: Reader,
    kind: str,
    thing: Any,
    span: Span,
    at: datetime,
    fed_before: timedelta | None = None,
) -> Start:
    """The milkings and lots that a thing starts from; ``at``, ``fed_before``: as in ``forward``."""
    match kind:
        case "animal":
            return trace_start.from_animal(reader, thing.pk, span)
        case "course":
            return trace_start.from_course(reader, thing.pk, span)
        case "batch" | "feed-lot" | "field":
            feeds = feeds_of(kind, thing)
            return trace_start.from_feed(reader, *feeds, span, counts(at, fed_before))
        case "group":
            return trace_start.from_group(reader, thing.pk, span)
        case _:
            return trace_start.from_lot(thing.pk, float(thing.kg))


def keys(rows: Any) -> list[int]:
    return list(rows.values_list("pk", flat=True))


def fed_before_rule(at: datetime, reader: Reader | None = None) -> timedelta:
    """How long before a milking feed counts, by the dated rule that holds at a moment."""
    rows = (reader or Reader()).rows(RULE, **rule_asked(at))
    return timedelta(hours=rows[0][0]) if rows else FED_BEFORE_WITHOUT_RULE


def rule_asked(at: datetime) -> dict[str, Any]:
    return {"name": FED_BEFORE, "day": timezone.localtime(at).date()}


def counts(at: datetime, fed_before: timedelta | None) -> dict[str, Any]:
    """How long before a milking feed counts, as a statement finds it out itself."""
    return {"before": fed_before, "without": FED_BEFORE_WITHOUT_RULE, **rule_asked(at)}


def known_by(held: Held, at: datetime) -> Held:
    """The holds that had begun at a moment."""
    kept: dict[tuple[Thing, int], list[HeldBy]] = {
        key: [one for one in found if one.hold.happened_at <= at] for key, found in held.items()
    }
    return {key: found for key, found in kept.items() if found}
