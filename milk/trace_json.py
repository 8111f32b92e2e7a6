"""A trace as JSON: stable keys, ids as text, kg as numbers to the gram, moments with their offset.

``manage.py trace --json`` prints it and the API answers it; ``milk.api.trace`` describes every key.
"""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.utils import timezone

from milk.held import HeldBy
from milk.trace import TraceBack, TraceForward
from milk.trace_forward import Balance, DrawOut, Found, LotOut, Pair, TrayOut, VatOut
from milk.trace_parts import CowAt, CowIn, FeedIn, LotIn, MayFeed, MilkingIn, Period, WheelIn
from milk.trace_sql import LotRow
from milk.trace_words import sentences

Document = dict[str, Any]


def as_json(trace: TraceBack | TraceForward) -> Document:
    """The whole answer of either way."""
    return back_json(trace) if isinstance(trace, TraceBack) else forward_json(trace)


def head(trace: TraceBack | TraceForward, way: str) -> Document:
    """What both ways begin with."""
    return {
        "way": way,
        "kind": trace.kind,
        "id": str(trace.thing.uuid),
        "name": trace.name,
        "as_at": moment(trace.as_at),
        "answered_in_ms": round(trace.took_ms, 1),
        "fed_before_hours": round(trace.fed_before.total_seconds() / 3600, 2),
        "words": sentences(trace),
    }


def back_json(trace: TraceBack) -> Document:
    """Everything above a wheel, vat or lot."""
    found = trace.found
    return {
        **head(trace, "back"),
        "kg": grams(found.kg),
        "held": bool(trace.thing_held),
        "lots": [lot_in(lot, trace) for lot in found.lots],
        "milkings": [milking(one) for one in found.milkings],
        "animals": [cow(one) for one in found.animals],
        "withheld": [
            {"animal": animal.name, "animal_id": str(animal.uuid), **at_milking(at), **period(one)}
            for animal, at, one in found.withheld
        ],
        "feeds": [feed(one) for one in found.feeds],
        "may_have_had": [may_feed(one) for one in trace.may_feeds],
        "wheels": [wheel(one, trace) for one in found.wheels],
        "holds": holds(trace.holds),
    }


def forward_json(trace: TraceForward) -> Document:
    """Everything below an animal, course, load, feed lot, field, group or lot."""
    found = trace.found
    return {
        **head(trace, "forward"),
        "milkings": [milking(one) for one in found.start.milkings],
        "kept_out": [milking(one) for one in found.start.kept_out],
        "astray": [milking(one) for one in found.start.astray],
        "periods": [period(one) for one in found.start.periods],
        "feeds": [feed(one) for one in found.start.feeds],
        **below(found, trace),
        "may_have_had": [may_feed(one) for one in trace.may_feeds],
        "may_be_in": below(trace.may, trace) if trace.may else None,
        "holds": holds(trace.holds),
        "balance": balance(found.balance),
    }


def below(found: Found, trace: TraceForward) -> Document:
    """What milk of a start is in."""
    vats = {vat.pk: vat.name for vat in found.vats}
    return {
        "lots": [lot_out(lot, trace) for lot in found.lots],
        "vats": [vat_out(vat, trace) for vat in found.vats],
        "wheels": [
            {**wheel(one, trace), "vat": vats[one.vat_id], **pair("milk_", kg)}
            for one, kg in found.wheels
        ],
        "draws": [draw(one) for one in found.draws],
        "trays": [tray(one) for one in found.trays],
        "second_ring": [
            {
                "id": str(vat.uuid),
                "name": vat.name,
                "can": vat.can,
                "whey_of": vats.get(vat.from_vat, ""),
            }
            for vat in found.second_ring
        ],
    }


def grams(kg: float | None) -> float | None:
    """kg to the gram; None stays None: not known."""
    # Adding 0 turns -0.0 into 0.0.
    return None if kg is None else round(kg, 3) + 0.0


def moment(at: datetime | None) -> str | None:
    """A moment with the estate's offset."""
    return None if at is None else timezone.localtime(at).isoformat()


def pair(prefix: str, kg: Pair) -> Document:
    """kg of the whole and of interest."""
    return {f"{prefix}kg": grams(kg.whole), f"{prefix}of_interest_kg": grams(kg.interest)}


def lot_row(row: LotRow) -> Document:
    return {
        "id": str(row.uuid),
        "code": row.code,
        "tank": row.tank,
        "day": row.day.isoformat(),
        "session": row.session,
        "opened_at": moment(row.opened_at),
        "closed_at": moment(row.closed_at),
        "own_kg": grams(row.kg),
        "carried_over_kg": grams(row.carried_kg),
    }


def parents(edges: Iterable[tuple[str, float]]) -> list[Document]:
    return [{"code": code, "kg": grams(kg)} for code, kg in edges]


def lot_in(lot: LotIn, trace: TraceBack) -> Document:
    return {
        **lot_row(lot.row),
        "kg": grams(lot.kg),
        "share": round(lot.share, 6),
        "parents": parents(lot.parents),
        "carried_into": lot.carried_into,
        "supplier": ", ".join(lot.row.suppliers or ()),
        "held": trace.is_held("lot", lot.row.pk),
    }


def lot_out(lot: LotOut, trace: TraceForward) -> Document:
    return {
        **lot_row(lot.row),
        "started": lot.started,
        "of_interest_own_kg": grams(lot.own_interest),
        **pair("", lot.kg),
        "parents": parents(lot.parents),
        "left_in_tank_kg": grams(lot.left.whole),
        "held": trace.is_held("lot", lot.row.pk),
    }


def milking(one: MilkingIn) -> Document:
    return {
        "id": str(one.uuid),
        "group": one.group,
        "day": one.day.isoformat(),
        "session": one.session,
        "started_at": moment(one.started_at),
        "metered": one.metered,
        "by_mistake": one.by_mistake,
        "kg": grams(one.kg),
        "lots": parents((code, kg or 0.0) for code, kg in one.lots),
    }


def at_milking(at: CowAt) -> Document:
    return {
        "milking": str(at.milking.uuid),
        "group": at.milking.group,
        "milked_at": moment(at.milking.started_at),
        "by_mistake": at.milking.by_mistake,
        "lot": at.lot,
        "kg": grams(at.kg),
        "weighed": at.weighed,
        "cells": at.cells[2] if at.cells else None,
        "cells_at": moment(at.cells[0]) if at.cells else None,
    }


def cow(one: CowIn) -> Document:
    return {
        "id": str(one.uuid),
        "name": one.name,
        "ear_tag": one.ear_tag,
        "kg": grams(one.kg),
        "weighed": one.weighed,
        "milkings": [
            {**at_milking(at), "withheld": [period(found) for found in at.withheld]}
            for at in one.milkings
        ],
    }


def period(one: Period) -> Document:
    return {
        "kind": one.kind,
        "why": one.why,
        "since": moment(one.since),
        "until": moment(one.until),
        "source": str(one.source),
    }


def feed(one: FeedIn) -> Document:
    return {
        "id": str(one.uuid),
        "kind": one.kind,
        "name": one.name,
        "origin": one.origin,
        "at": moment(one.at),
        "deadline": moment(one.deadline),
        "kg": grams(one.kg),
        "hours_late": None if one.hours_late is None else round(one.hours_late, 2),
        "fed": [
            {
                "group": fed.group,
                "at": moment(fed.at),
                "kg": grams(fed.kg),
                "weighed": fed.weighed,
                "hours_late": None if fed.hours_late is None else round(fed.hours_late, 2),
                "milkings": [str(found.uuid) for found in fed.milkings],
            }
            for fed in one.fed
        ],
    }


def may_feed(one: MayFeed) -> Document:
    """A load whose rest nobody wrote; ``kg`` is all of the rest."""
    return {
        "id": str(one.uuid),
        "name": one.name,
        "origin": one.origin,
        "at": moment(one.at),
        "deadline": moment(one.deadline),
        "not_written_kg": grams(one.kg),
        "groups": [
            {
                "group": fed.group,
                "first": moment(fed.first),
                "last": moment(fed.last),
                "milkings": [str(found.uuid) for found in fed.milkings],
            }
            for fed in one.groups
        ],
    }


def wheel(one: WheelIn, trace: TraceBack | TraceForward) -> Document:
    place = trace.places[one.pk]
    return {
        "id": str(one.uuid),
        "plate": one.plate,
        "twin": one.twin,
        "weight_kg": grams(one.kg),
        "place": place.kind,
        "where": place.words,
        "where_since": moment(place.at),
        "held": trace.is_held("wheel", one.pk),
    }


def vat_out(vat: VatOut, trace: TraceForward) -> Document:
    return {
        "id": str(vat.uuid),
        "name": vat.name,
        "day": vat.day.isoformat(),
        "number": vat.number,
        "round": vat.round,
        "started_at": moment(vat.started_at),
        **pair("", vat.kg),
        "lots": [code for code, _ in vat.parts],
        "held": trace.is_held("vat", vat.pk),
    }


def draw(one: DrawOut) -> Document:
    return {
        "id": str(one.uuid),
        "what": one.what,
        "name": one.name,
        "at": moment(one.at),
        "lot": one.lot,
        **pair("", one.kg),
    }


def tray(one: TrayOut) -> Document:
    return {
        "id": str(one.uuid),
        "number": one.number,
        "at": moment(one.at),
        **pair("", one.kg),
        **pair("poured_", one.poured),
        **pair("cream_", one.cream),
        **pair("left_", one.left),
    }


def holds(found: Iterable[HeldBy]) -> list[Document]:
    return [
        {
            "id": str(one.hold.uuid),
            "reason": one.hold.reason,
            "words": one.hold.words,
            "since": moment(one.hold.happened_at),
            "by": str(one.hold.by),
            "state": one.word,
            "open": one.is_open,
        }
        for one in found
    ]


def balance(found: Balance) -> Document:
    return {
        **pair("in_", found.came_in),
        **pair("not_in_the_book_", found.over),
        **pair("vats_", found.vats),
        **pair("cream_", found.cream),
        **pair("drawn_", found.drawn),
        **pair("trays_", found.trays),
        **pair("tanks_", found.tanks),
        **pair("lost_", found.lost),
        **pair("difference_", found.difference),
        "rounding_kg": grams(found.rounding),
        "closes": found.closes,
    }
