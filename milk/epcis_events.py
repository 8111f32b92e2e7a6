"""The estate's events of some days: lots, vats, wheels, pallets, what was sent, held, destroyed."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from operator import attrgetter
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError

from config.days import start_of
from config.entries import Entry, offset_minutes
from milk.epcis import (
    Event,
    Quantity,
    When,
    document,
    milk_came,
    packed,
    part_of,
    urn,
    vat_made,
    wheels_step,
)
from milk.gs1 import pallet_link, wheel_link
from milk.models import (
    Dispatch,
    Hold,
    MilkLot,
    Pallet,
    Pick,
    Product,
    RecallStep,
    Vat,
    VatLot,
    Wheel,
    WheelDiscard,
)
from milk.vat_code import vat_code

ROOT = "https://id.gs1.org"
MOST_DAYS = 92
TOO_LONG = "{days} days are too many at once. Expected at most {most}."
BACKWARDS = "The last day, {last}, is before the first, {first}."


@dataclass(frozen=True)
class Names:
    """What things are called: Digital Links where a product has a GTIN on the wheel's day."""

    products: list[Product]

    def product(self, day: date) -> Product | None:
        """The product in force on a day."""
        found = [one for one in self.products if one.valid_from <= day]
        return found[-1] if found else None

    def wheel(self, wheel: Wheel) -> str:
        product = self.product(wheel.vat.day)
        if product is None:
            return urn(wheel.uuid)
        return wheel_link(ROOT, product.gtin, vat_code(wheel.vat), wheel.plate)

    def place(self, day: date) -> str | None:
        """Who makes it, when the book says so."""
        product = self.product(day)
        return None if product is None else urn(product.holding.uuid)


def events_document(first: date, last: date, *, made_at: datetime) -> dict[str, Any]:
    """Everything that happened on these days, as a document. Raises ValidationError by field."""
    if last < first:
        raise ValidationError({"until": BACKWARDS.format(first=first, last=last)})
    days = (last - first).days + 1
    if days > MOST_DAYS:
        raise ValidationError({"until": TOO_LONG.format(days=days, most=MOST_DAYS)})
    return document(events_between(first, last), made_at)


def events_between(first: date, last: date) -> list[Event]:
    """The events of some days; lots that went into their vats are with them, however old."""
    span = (start_of(first), start_of(last + timedelta(days=1)))
    names = Names(
        list(Product.objects.standing().select_related("holding").order_by("valid_from", "id"))
    )
    readers: tuple[Callable[[Names, tuple[datetime, datetime]], Iterable[Event]], ...] = (
        of_vats,
        of_pallets,
        of_dispatches,
        of_holds,
        of_destroyed,
    )
    return [event for read in readers for event in read(names, span)]


def in_span(model: Any, span: tuple[datetime, datetime]) -> Any:
    """Standing entries that happened in [since, until), oldest first."""
    rows = model.objects.standing().filter(happened_at__gte=span[0], happened_at__lt=span[1])
    return rows.order_by("happened_at", "id")


def when(entry: Entry) -> When:
    return When(at=entry.happened_at, offset=entry.zone_offset)


def of_vats(names: Names, span: tuple[datetime, datetime]) -> Iterator[Event]:
    """Lots, vats and wheels of the vats begun in a span."""
    vats = list(in_span(Vat, span))
    numbers = [vat.pk for vat in vats]
    filled, made = defaultdict(list), defaultdict(list)
    for row in VatLot.objects.filter(vat_id__in=numbers).select_related("lot").order_by("lot_id"):
        filled[row.vat_id].append(row)
    lifted_from = Wheel.objects.standing().filter(vat_id__in=numbers).select_related("vat")
    for wheel in lifted_from.order_by("id"):
        made[wheel.vat_id].append(wheel)
    lots = {row.lot.pk: row.lot for rows in filled.values() for row in rows}
    for lot in lots.values():
        yield lot_event(names, lot)
    for vat in vats:
        if filled[vat.pk] or made[vat.pk]:
            yield vat_event(names, vat, filled[vat.pk], made[vat.pk])
        if made[vat.pk]:
            yield lifted(names, vat, made[vat.pk])


def lot_event(names: Names, lot: MilkLot) -> Event:
    at = When(at=lot.opened_at, offset=offset_minutes(lot.opened_at))
    milk = Quantity(urn(lot.uuid), lot.kg)
    return milk_came(part_of(lot.uuid, "came"), at, milk, names.place(lot.day))


def vat_event(names: Names, vat: Vat, rows: list[VatLot], wheels: list[Wheel]) -> Event:
    """A vat: kg of its lots in; its wheels out, and the whey and losses that are the rest."""
    kg_in = sum((row.kg for row in rows), Decimal(0))
    cheese = sum((wheel.kg or Decimal(0) for wheel in wheels), Decimal(0))
    out = [
        Quantity(part_of(vat.uuid, "cheese"), cheese),
        Quantity(part_of(vat.uuid, "whey and losses"), kg_in - cheese),
    ]
    return vat_made(
        part_of(vat.uuid, "made"),
        When(at=vat.happened_at, offset=vat.zone_offset),
        vat=urn(vat.uuid),
        lots=[Quantity(urn(row.lot.uuid), row.kg) for row in rows],
        wheels=[names.wheel(wheel) for wheel in wheels],
        out=[row for row in out if row.kg] if rows else [row for row in out[:1] if row.kg],
        place=names.place(vat.day),
    )


def lifted(names: Names, vat: Vat, wheels: list[Wheel]) -> Event:
    """The wheels of a vat, there for the first time."""
    return wheels_step(
        part_of(vat.uuid, "lifted"),
        when(wheels[0]),
        "commissioning",
        [names.wheel(wheel) for wheel in wheels],
        action="ADD",
        disposition="active",
        place=names.place(vat.day),
    )


def of_pallets(names: Names, span: tuple[datetime, datetime]) -> Iterator[Event]:
    """Pallets built in a span, with all that was put on them."""
    picks = in_span(Pick, span).filter(pallet__isnull=False, pallet__struck_at=None)
    by_pallet: dict[Pallet, list[Pick]] = defaultdict(list)
    for pick in picks.select_related("pallet", "wheel__vat"):
        if pick.pallet is not None:
            by_pallet[pick.pallet].append(pick)
    for pallet, rows in by_pallet.items():
        yield packed(
            part_of(pallet.uuid, f"packed {rows[-1].uuid}"),
            when(rows[-1]),
            pallet_name(pallet),
            [names.wheel(row.wheel) for row in rows],
        )


def pallet_name(pallet: Pallet) -> str:
    return pallet_link(ROOT, pallet.sscc) if pallet.sscc else urn(pallet.uuid)


def of_dispatches(names: Names, span: tuple[datetime, datetime]) -> Iterator[Event]:
    """What was sent with each paper: its pallets, and every wheel."""
    rows = in_span(Dispatch, span).select_related("wheel__vat", "buyer", "pallet", "shipment")
    by_paper: dict[tuple[str, int, datetime], list[Dispatch]] = defaultdict(list)
    for row in rows:
        by_paper[row.paper, row.buyer_id, row.happened_at].append(row)
    for (paper, _, _), sent in by_paper.items():
        first = sent[0]
        things = sorted({pallet_name(row.pallet) for row in sent if row.pallet is not None})
        things += [names.wheel(row.wheel) for row in sent]
        yield wheels_step(
            part_of(first.uuid, "sent"),
            when(first),
            "shipping",
            things,
            disposition="in_transit",
            papers=[("desadv", part_of(first.buyer.uuid, f"paper {paper}"))],
            giver=names.place(first.wheel.vat.day),
            taker=urn(first.buyer.uuid),
        )


def of_holds(names: Names, span: tuple[datetime, datetime]) -> Iterator[Event]:
    """Wheels that were held, as the hold froze them."""
    holds = list(in_span(Hold, span))
    frozen = {
        hold.pk: [UUID(one["id"]) for one in (hold.tree or {}).get("wheels", ())] for hold in holds
    }
    wanted = {number for numbers in frozen.values() for number in numbers}
    wheels = {one.uuid: one for one in Wheel.objects.filter(uuid__in=wanted).select_related("vat")}
    for hold in holds:
        found = [wheels[number] for number in frozen[hold.pk] if number in wheels]
        things = [names.wheel(wheel) for wheel in sorted(found, key=attrgetter("pk"))]
        if things:
            yield wheels_step(
                urn(hold.uuid), when(hold), "holding", things, disposition="non_sellable_other"
            )


def of_destroyed(names: Names, span: tuple[datetime, datetime]) -> Iterator[Event]:
    """Wheels destroyed or used otherwise, with the paper that proves it; drills destroy nothing."""
    steps = in_span(RecallStep, span).filter(
        what=RecallStep.What.DESTROYED, recall__drill=False, recall__struck_at=None
    )
    gone = in_span(WheelDiscard, span)
    told = [*steps.select_related("wheel__vat"), *gone.select_related("wheel__vat")]
    # A wheel destroyed in a recall and written as such too is destroyed once.
    once = {step.wheel_id: step for step in sorted(told, key=lambda one: one.happened_at)[::-1]}
    for step in sorted(once.values(), key=lambda one: (one.happened_at, one.pk)):
        yield wheels_step(
            urn(step.uuid),
            when(step),
            "destroying",
            [names.wheel(step.wheel)],
            action="DELETE",
            disposition="destroyed",
            papers=[("cert", part_of(step.uuid, f"paper {step.paper}"))],
        )
