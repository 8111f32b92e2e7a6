"""What happened to milk and cheese as events of the EPCIS 2.0 standard (ISO/IEC 19987), JSON-LD.

Pure: plain values in, a document out. A vat is a transformation: kg of milk lots in, wheels and the
whey out. Identifiers are GS1 Digital Links where the estate has a GTIN, else plain ``urn:uuid``.
The schema lets a transformation pass that has no outputs or no mass; ``faults`` does not.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5

CONTEXT = "https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"
VERSION = "2.0"
KG = "KGM"
# Every vat is kept to the gram; so much may be rounding.
ROUNDING_KG = Decimal("0.001")
Event = dict[str, Any]

NO_INPUT = "{event}: {output} comes out, and nothing goes in"
NO_OUTPUT = "{event}: {kg} kg go in, and nothing comes out"
NOT_EQUAL = "{event}: {kg_in} kg go in and {kg_out} kg come out"
LESS_THAN_NOTHING = "{event}: {kg} kg of {name}, less than nothing"
FROM_NOWHERE = "{event}: {name} goes in, and no event made it"


@dataclass(frozen=True)
class Quantity:
    """kg of something that is known by its class only (a lot of milk, whey)."""

    name: str
    kg: Decimal


@dataclass(frozen=True, kw_only=True)
class When:
    """The moment of an event, aware, and the offset of the clock where it happened, in minutes."""

    at: datetime
    offset: int


def urn(uuid: UUID) -> str:
    return f"urn:uuid:{uuid}"


def part_of(uuid: UUID, part: str) -> str:
    """A number for a part or an event of something that has a number of its own."""
    return urn(uuid5(NAMESPACE_URL, f"{urn(uuid)}#{part}"))


def offset_said(minutes: int) -> str:
    """Minutes ahead of UTC as "+02:00"."""
    whole, rest = divmod(abs(minutes), 60)
    return f"{'-' if minutes < 0 else '+'}{whole:02d}:{rest:02d}"


def begun(kind: str, number: str, when: When, step: str, **more: Any) -> Event:
    """What every event has; fields without a value are left out."""
    event = {
        "type": kind,
        "eventID": number,
        "eventTime": when.at.isoformat(),
        "eventTimeZoneOffset": offset_said(when.offset),
        "bizStep": step,
    }
    return {**event, **{name: value for name, value in more.items() if value not in (None, [])}}


def quantities(rows: Iterable[Quantity]) -> list[dict[str, Any]]:
    return [{"epcClass": row.name, "quantity": float(row.kg), "uom": KG} for row in rows]


def milk_came(number: str, when: When, lot: Quantity, place: str | None) -> Event:
    """A lot of milk, there for the first time."""
    return begun(
        "ObjectEvent",
        number,
        when,
        "commissioning",
        action="ADD",
        quantityList=quantities([lot]),
        disposition="in_progress",
        bizLocation={"id": place} if place else None,
    )


def vat_made(
    number: str,
    when: When,
    *,
    vat: str,
    lots: Sequence[Quantity],
    wheels: Sequence[str],
    out: Sequence[Quantity],
    place: str | None = None,
) -> Event:
    """A vat: milk lots in, wheels out; ``out``: kg of the cheese, and of the rest of the milk."""
    return begun(
        "TransformationEvent",
        number,
        when,
        "commissioning",
        transformationID=vat,
        inputQuantityList=quantities(lots),
        outputEPCList=list(wheels),
        outputQuantityList=quantities(out),
        disposition="in_progress",
        bizLocation={"id": place} if place else None,
    )


def wheels_step(
    number: str,
    when: When,
    step: str,
    things: Sequence[str],
    *,
    action: str = "OBSERVE",
    disposition: str | None = None,
    papers: Sequence[tuple[str, str]] = (),
    giver: str | None = None,
    taker: str | None = None,
    place: str | None = None,
) -> Event:
    """Something done to wheels or pallets: made, held, sent, destroyed.

    ``papers``: (kind of the standard's list, URI). ``giver``, ``taker``: the owner before, after.
    """
    handed = giver and taker
    return begun(
        "ObjectEvent",
        number,
        when,
        step,
        action=action,
        epcList=list(things),
        disposition=disposition,
        bizLocation={"id": place} if place else None,
        bizTransactionList=[{"type": kind, "bizTransaction": uri} for kind, uri in papers],
        sourceList=[{"type": "owning_party", "source": giver}] if handed else None,
        destinationList=[{"type": "owning_party", "destination": taker}]
        if giver and taker
        else None,
    )


def packed(number: str, when: When, pallet: str, wheels: Sequence[str]) -> Event:
    """Wheels put on a pallet."""
    return begun(
        "AggregationEvent",
        number,
        when,
        "packing",
        action="ADD",
        parentID=pallet,
        childEPCs=list(wheels),
        disposition="in_progress",
    )


def document(events: Iterable[Event], made_at: datetime) -> dict[str, Any]:
    """The events in order of time, as one document."""
    return {
        "@context": [CONTEXT],
        "type": "EPCISDocument",
        "schemaVersion": VERSION,
        "creationDate": made_at.isoformat(),
        "epcisBody": {"eventList": sorted(events, key=lambda event: event["eventTime"])},
    }


def faults(events: Sequence[Mapping[str, Any]]) -> list[str]:
    """Where mass or a way back is missing: what comes out must have gone in, kg for kg."""
    known = {
        row["epcClass"]
        for event in events
        if event["type"] == "ObjectEvent" and event.get("action") == "ADD"
        for row in event.get("quantityList", ())
    }
    found: list[str] = []
    for event in events:
        if event["type"] == "TransformationEvent":
            found += faults_of_vat(event, known)
    return found


def faults_of_vat(event: Mapping[str, Any], known: set[str]) -> list[str]:
    """The faults of one transformation."""
    name = str(event.get("transformationID") or event["eventID"])
    into, out = (event.get(key, ()) for key in ("inputQuantityList", "outputQuantityList"))
    made = [*event.get("outputEPCList", ()), *(row["epcClass"] for row in out)]
    kg_in, kg_out = mass(into), mass(out)
    found = [
        LESS_THAN_NOTHING.format(event=name, kg=row["quantity"], name=row["epcClass"])
        for row in (*into, *out)
        if row["quantity"] < 0
    ]
    found += [
        FROM_NOWHERE.format(event=name, name=row["epcClass"])
        for row in into
        if row["epcClass"] not in known
    ]
    if made and not into:
        found.append(NO_INPUT.format(event=name, output=made[0]))
    elif into and not made:
        found.append(NO_OUTPUT.format(event=name, kg=kg_in))
    elif abs(kg_in - kg_out) > ROUNDING_KG * (len(into) + len(out)):
        found.append(NOT_EQUAL.format(event=name, kg_in=kg_in, kg_out=kg_out))
    return found


def mass(rows: Iterable[Mapping[str, Any]]) -> Decimal:
    return sum((Decimal(str(row["quantity"])) for row in rows), Decimal(0))
