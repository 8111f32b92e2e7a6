"""Wheels that were not found: where they were written last, by whom, and what lies around there."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Exists, F, OuterRef, Q
from django.utils.translation import gettext as _

from milk.models import (
    BrineOut,
    BrineStay,
    Dispatch,
    Inspection,
    Pick,
    StorePlace,
    StoreStay,
    Wheel,
    WheelPlace,
)
from milk.places import in_brine
from milk.recalls import WheelRow

# More than these nobody looks for one by one; the table file has all.
MOST = 60


@dataclass(frozen=True, kw_only=True)
class Missing:
    """A wheel nobody found: its last place, when and by whom written, and its neighbours there.

    ``at`` and ``by`` are those of the entry; ``neighbours``: plates that lie beside that place now;
    ``orders``: orders it was picked for and did not leave on.
    """

    row: WheelRow
    last: str
    at: datetime
    by: str
    neighbours: list[str]
    orders: list[str]


def details_of(rows: Sequence[WheelRow], at: datetime) -> list[Missing]:
    """The missing wheels with what helps to find them. Seven statements."""
    rows = rows[:MOST]
    wheels = [row.wheel for row in rows]
    placed, looked = last_seen(wheels, at)
    places = {pk: entry.place for pk, entry in placed.items() if isinstance(entry, StoreStay)}
    around, picked = neighbours_of(list(places.values())), orders_of(wheels)
    found = []
    for row in rows:
        number = row.wheel.pk
        last, look = placed[number], looked.get(number)
        words = said(last)
        if look is not None and look.happened_at >= last.happened_at:
            last, words = (
                look,
                _("{words}; {way} since").format(words=words, way=look.get_way_display()),
            )
        found.append(
            Missing(
                row=row,
                last=words,
                at=last.happened_at,
                by=name_of(last.by),
                neighbours=around[places[number].pk] if number in places else [],
                orders=picked[number],
            )
        )
    return found


def orders_of(wheels: Sequence[Wheel]) -> dict[int, list[str]]:
    """By wheel (key), the orders it was picked for and has not left on."""
    found: dict[int, list[str]] = defaultdict(list)
    picks = Pick.objects.standing().filter(wheel__in=wheels).select_related("order__buyer")
    left = Dispatch.objects.standing().filter(
        wheel=OuterRef("wheel"), happened_at__gte=OuterRef("happened_at")
    )
    for pick in picks.exclude(Exists(left)).order_by("happened_at", "id"):
        found[pick.wheel_id].append(
            _("{order} of {buyer}").format(order=pick.order, buyer=pick.order.buyer)
        )
    return found


def name_of(user: Any) -> str:
    return str(user.get_full_name() or user.get_username())


def last_seen(
    wheels: Sequence[Wheel], at: datetime
) -> tuple[dict[int, Any], dict[int, Inspection]]:
    """By wheel (key), the latest entry that says where it was (at least its lift), and the latest
    look at it.
    """
    numbers = [wheel.pk for wheel in wheels]
    placed: dict[int, Any] = {
        wheel.pk: wheel
        for wheel in Wheel.objects.filter(pk__in=numbers).select_related("by", "vat")
    }
    tables: list[tuple[Any, tuple[str, ...]]] = [
        (BrineStay, ()),
        (BrineOut, ("stay",)),
        (StoreStay, ("place",)),
        (Dispatch, ("buyer",)),
    ]
    for model, related in tables:
        rows = model.objects.happened_by(at).filter(wheel_id__in=numbers)
        for row in rows.select_related("by", *related).order_by("happened_at", "id"):
            if row.happened_at >= placed[row.wheel_id].happened_at:
                placed[row.wheel_id] = row
    looks = Inspection.objects.happened_by(at).filter(wheel_id__in=numbers).select_related("by")
    return placed, {look.wheel_id: look for look in looks.order_by("happened_at", "id")}


def said(entry: Any) -> str:
    """Where the wheel was then."""
    match entry:
        case StoreStay():
            return _("store: {place}").format(place=entry.place)
        case BrineStay():
            return in_brine(entry.bath, entry.row)
        case BrineOut():
            return _("taken out of {in_brine}").format(
                in_brine=in_brine(entry.stay.bath, entry.stay.row)
            )
        case Dispatch():
            return _("sent to {buyer}, paper {paper}").format(buyer=entry.buyer, paper=entry.paper)
    return _("lifted from {vat}").format(vat=entry.vat)


def neighbours_of(places: Sequence[StorePlace]) -> dict[int, list[str]]:
    """By place (key), plates that lie there now, one shelf up or down, or one column on."""
    around: dict[int, list[str]] = defaultdict(list)
    if not places:
        return around
    beside = Q()
    for place in places:
        beside |= Q(
            place__room=place.room,
            place__aisle=place.aisle,
            place__column=place.column,
            place__shelf__range=(place.shelf - 1, place.shelf + 1),
        ) | Q(
            place__room=place.room,
            place__aisle=place.aisle,
            place__column__in=(place.column - 1, place.column + 1),
            place__shelf=place.shelf,
        )
    lying = WheelPlace.objects.filter(beside).values_list(
        "wheel__plate", "place__room", "place__aisle", "place__column", "place__shelf"
    )
    for plate, *spot in lying.order_by(F("place__column"), F("place__shelf")):
        for place in places:
            if near(place, spot):
                around[place.pk].append(plate)
    return around


def near(place: StorePlace, spot: Sequence[Any]) -> bool:
    """Whether a spot (room, aisle, column, shelf) is a place or next to it."""
    room, aisle, column, shelf = spot
    steps = abs(column - place.column) + abs(shelf - place.shelf)
    return (room, aisle) == (place.room, place.aisle) and steps <= 1
