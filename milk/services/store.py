"""Wheels in the store: laid, found, looked for, and the places they lie on."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from config import entries
from config.days import local
from config.entries import Entry, Stamp
from config.errors import Conflict
from config.language import in_readers_form
from config.templatetags.sheet import amount
from milk.free_places import free_places
from milk.models import StoreGap, StorePlace, StoreRound, StoreStay, Wheel, WheelPlace
from milk.places import GONE, IN_STORE, SENT, Place, moves, where_is
from milk.services.flowing import check_stands
from milk.services.wheel_places import lying_on, place_again

BEFORE_LIFT = N_("{wheel} was lifted at {lifted}; this cannot have happened to it at {at}.")
HAS_LEFT = N_(
    "{wheel} was {place} at {since}. A wheel that came back is first laid on a place of the store. "
    "Nothing was saved."
)
NO_MORE = N_(
    "{wheel} was destroyed or used otherwise at {since}. Nothing was saved. If it is here after "
    "all, strike that entry first."
)
TAKEN = N_(
    "{place} is taken: {wheel} of {vat} lies there{since}. Two wheels do not lie on one shelf "
    "place. Choose a free place; or, if you see {this} lying there, write it as found there. "
    "Nothing was saved."
)
NOT_IN_STORE = N_(
    "{wheel} does not lie in the store by the book: it is {place}. Nothing was saved."
)
TWICE = N_("{wheel} stands twice in what you sent.")
NO_WHEELS = N_("Name at least one wheel.")
LIES_THERE = N_("{wheel} lies on {place} already, since {since}. Nothing was saved.")
TOO_FEW_FREE = N_(
    "{free} in {room}, aisle {aisle} from column {column}, and {wheels}. Choose another aisle, "
    "or lay fewer."
)
NO_SUCH_AISLE = N_("{room} has no aisle {aisle} in the book. Its aisles: {aisles}.")
NO_SUCH_ROOM = N_("No room “{room}” is in the book. Rooms: {rooms}.")
MOST_PLACES = 20_000
TOO_MANY_PLACES = N_(
    "{number} places in one act are too many; at most {most}. Make the room in parts."
)
NO_AISLES = N_("The last aisle comes before the first, {first}. Turn the two round.")
ALL_THERE = N_("{number} in the book already.")


def check_wheel(stamp: Stamp, wheel: Wheel) -> None:
    """Refuse what happens to a struck wheel, or to one before it was lifted."""
    check_stands(wheel, "wheel")
    if stamp.happened_at < wheel.happened_at:
        words = _(BEFORE_LIFT).format(
            wheel=capfirst(str(wheel)),
            lifted=local(wheel.happened_at),
            at=local(stamp.happened_at),
        )
        raise ValidationError({"happened_at": words})


def check_here(stamp: Stamp, wheel: Wheel) -> None:
    """Refuse what happens to a wheel that had left the estate by then. Raises Conflict."""
    refuse_gone(wheel, where_is([wheel.pk], stamp.happened_at)[wheel.pk])


def refuse_no_more(stamp: Stamp, wheels: Sequence[Wheel]) -> None:
    """Refuse wheels that were destroyed or used otherwise by then. Raises Conflict."""
    places = where_is([wheel.pk for wheel in wheels], stamp.happened_at)
    for wheel in wheels:
        if places[wheel.pk].kind == GONE:
            refuse_gone(wheel, places[wheel.pk])


def refuse_gone(wheel: Wheel, place: Place) -> None:
    if place.kind == GONE and place.at is not None:
        words = _(NO_MORE).format(wheel=capfirst(str(wheel)), since=local(place.at))
        raise Conflict(words)
    if place.kind == SENT and place.at is not None:
        words = _(HAS_LEFT).format(wheel=capfirst(str(wheel)), place=place, since=local(place.at))
        raise Conflict(words)


def check_steps(stamp: Stamp, wheels: Sequence[Wheel]) -> dict[int, Place]:
    """Refuse wheels named twice, struck, not lifted yet, or gone; where each was, by key."""
    seen: set[int] = set()
    for wheel in wheels:
        if wheel.pk in seen:
            raise ValidationError({"wheels": _(TWICE).format(wheel=capfirst(str(wheel)))})
        seen.add(wheel.pk)
        check_wheel(stamp, wheel)
    places = where_is(seen, stamp.happened_at)
    for wheel in wheels:
        refuse_gone(wheel, places[wheel.pk])
    return places


def of_wheel(model: type[Entry], stamp: Stamp, wheel: Wheel, **fields: Any) -> Any:
    """An entry about a wheel that is here; where it lies follows when it is a step."""
    check_wheel(stamp, wheel)
    check_here(stamp, wheel)
    made = entries.record(model, stamp=stamp, wheel=wheel, **fields)
    if moves(model):
        place_again([wheel.pk])
    return made


@transaction.atomic
def record_store_stay(
    *, stamp: Stamp, wheel: Wheel, place: StorePlace, found: bool = False
) -> StoreStay:
    """Lay a wheel on a place of the store, or write that it was found there.

    One that had left has come back. A wheel that the book has on the place is written as not found
    when another one is found there; laying a second one there is refused. Raises ValidationError
    by field, Conflict.
    """
    check_wheel(stamp, wheel)
    check_stands(place, "place")
    refuse_no_more(stamp, [wheel])
    if found:
        return found_here(stamp, wheel, place)[0]
    there = where_is([wheel.pk], stamp.happened_at)[wheel.pk]
    if there.kind == IN_STORE and there.at and there.words == f"store: {place}":
        words = _(LIES_THERE).format(wheel=capfirst(str(wheel)), place=place, since=local(there.at))
        raise Conflict(words)
    return lay_pairs(stamp, [(wheel, place)])[0]


@transaction.atomic
def found_here(stamp: Stamp, wheel: Wheel, place: StorePlace) -> tuple[StoreStay, Wheel | None]:
    """A wheel found on a place: what was written, and the wheel that should have lain there."""
    there = lying_on([place.pk]).get(place.pk)
    stay = entries.record(StoreStay, stamp=stamp, wheel=wheel, place=place, found=True)
    moved = [wheel.pk]
    if there is not None and there.pk != wheel.pk:
        entries.record(StoreGap, stamp=stamp.again(), wheel=there, place=place)
        moved.append(there.pk)
    place_again(moved)
    return stay, there if len(moved) > 1 else None


@transaction.atomic
def lay_pairs(stamp: Stamp, pairs: Sequence[tuple[Wheel, StorePlace]]) -> list[StoreStay]:
    """Lay wheels on places in one act, all or none; two may change places with each other.

    Raises Conflict with who lies there when a place would have two wheels at the end.
    """
    wheels = [wheel for wheel, _ in pairs]
    there = lying_on([place.pk for _, place in pairs])
    doubtful = in_doubt([*wheels, *there.values()])
    made = entries.record_all(
        StoreStay,
        [
            (stamp if not n else stamp.again(), {"wheel": wheel, "place": place})
            for n, (wheel, place) in enumerate(pairs)
        ],
    )
    place_again([wheel.pk for wheel in wheels])
    new = in_doubt([*wheels, *there.values()]) - doubtful
    for wheel, place in pairs:
        other = there.get(place.pk)
        if wheel.pk in new or (other is not None and other.pk in new):
            refuse_taken(wheel, place, other or by_now(place))
    return made


def in_doubt(wheels: Iterable[Wheel]) -> set[int]:
    """Those (keys) that lie by the book where another wheel was laid later."""
    rows = WheelPlace.objects.filter(wheel__in=[w.pk for w in wheels], what=WheelPlace.What.DOUBT)
    return set(rows.values_list("wheel", flat=True))


def by_now(place: StorePlace) -> Wheel:
    """The wheel that lies on a place now."""
    return lying_on([place.pk])[place.pk]


def refuse_taken(wheel: Wheel, place: StorePlace, other: Wheel) -> None:
    last = other.store_stays.filter(struck_at=None, place=place).select_related("by")
    stay = last.order_by("-happened_at", "-id").first()
    since = (
        _(" since {happened_at} (written by {by})").format(
            happened_at=local(stay.happened_at), by=stay.by
        )
        if stay
        else ""
    )
    raise Conflict(
        _(TAKEN).format(place=str(place), wheel=other, vat=other.vat, since=since, this=str(wheel))
    )


def free_said(places: int) -> str:
    """How few places are free, in words."""
    if not places:
        return _("No place is free")
    words = ngettext("Only {count} place is free", "Only {count} places are free", places)
    return words.format(count=places)


@transaction.atomic
def lay_in_aisle(
    *, stamp: Stamp, wheels: Sequence[Wheel], room: str, aisle: int, column: int = 1
) -> list[StoreStay]:
    """Lay wheels on the free places of an aisle in walking order, from a column on, in one act.

    Raises ValidationError by field, Conflict when fewer places are free.
    """
    if not wheels:
        raise ValidationError({"wheels": _(NO_WHEELS)})
    check_aisle(room, aisle)
    check_steps_in(stamp, wheels)
    free = free_places(room=room, aisle=aisle, column=column, most=len(wheels))
    if len(free) < len(wheels):
        raise Conflict(
            _(TOO_FEW_FREE).format(
                free=free_said(len(free)),
                room=room,
                aisle=aisle,
                column=column,
                wheels=ngettext(
                    "{count} wheel is to be laid", "{count} wheels are to be laid", len(wheels)
                ).format(count=len(wheels)),
            )
        )
    return lay_pairs(stamp, list(zip(wheels, free, strict=True)))


def check_steps_in(stamp: Stamp, wheels: Sequence[Wheel]) -> None:
    """As ``check_steps``, but a wheel that had left may come back into the store."""
    seen: set[int] = set()
    for wheel in wheels:
        if wheel.pk in seen:
            raise ValidationError({"wheels": _(TWICE).format(wheel=capfirst(str(wheel)))})
        seen.add(wheel.pk)
        check_wheel(stamp, wheel)
    refuse_no_more(stamp, wheels)


@transaction.atomic
def record_store_gap(*, stamp: Stamp, wheel: Wheel) -> StoreGap:
    """Write that a wheel is not where the book has it. Raises Conflict for one not in store."""
    lies = WheelPlace.objects.filter(wheel=wheel).select_related("last_place").first()
    if lies is None or lies.last_place is None or lies.what not in ("store", "doubt"):
        place = where_is([wheel.pk])[wheel.pk]
        raise Conflict(_(NOT_IN_STORE).format(wheel=capfirst(str(wheel)), place=place.said))
    gap: StoreGap = of_wheel(StoreGap, stamp, wheel, place=lies.last_place)
    return gap


def aisles_of(room: str) -> list[int]:
    """The aisles of a room that have places in the book."""
    places = StorePlace.objects.standing().filter(room=room)
    return list(places.order_by("aisle").values_list("aisle", flat=True).distinct())


def check_aisle(room: str, aisle: int) -> None:
    """Refuse an aisle that has no places in the book. Raises ValidationError by field."""
    if StorePlace.objects.standing().filter(room=room, aisle=aisle).exists():
        return
    aisles = aisles_of(room)
    if aisles:
        words = _(NO_SUCH_AISLE).format(room=room, aisle=aisle, aisles=", ".join(map(str, aisles)))
        raise ValidationError({"aisle": words})
    rooms = StorePlace.objects.standing().order_by("room").values_list("room", flat=True).distinct()
    names = ", ".join(rooms[:20]) or _("none yet")
    raise ValidationError({"room": _(NO_SUCH_ROOM).format(room=room, rooms=names)})


@transaction.atomic
def record_store_round(*, stamp: Stamp, room: str, aisle: int, **fields: Any) -> StoreRound:
    """Write what was done to an aisle. Raises ValidationError for one that is not in the book."""
    check_aisle(room, aisle)
    done: StoreRound = entries.record(StoreRound, stamp=stamp, room=room, aisle=aisle, **fields)
    return done


@transaction.atomic
def make_room(
    *, stamp: Stamp, room: str, aisles: range, columns: range, shelves: range
) -> list[StorePlace]:
    """Write every place of a room (or of more aisles of it) that is not in the book yet.

    Raises ValidationError for too many in one act, Conflict when all are there.
    """
    number = len(aisles) * len(columns) * len(shelves)
    if not number:
        raise ValidationError({"last_aisle": _(NO_AISLES).format(first=aisles.start)})
    if number > MOST_PLACES:
        words = _(TOO_MANY_PLACES).format(
            number=in_readers_form(f"{number:,}"), most=in_readers_form(f"{MOST_PLACES:,}")
        )
        raise ValidationError({"shelves": words})
    wanted = [(a, c, s) for a in aisles for c in columns for s in shelves]
    room = room.strip()
    places = StorePlace.objects.standing().filter(room=room)
    known = set(places.values_list("aisle", "column", "shelf"))
    new = [key for key in wanted if key not in known]
    if not new:
        these = (
            _("This place is")
            if number == 1
            else _("All of these {number} places are").format(number=amount(number))
        )
        raise Conflict(_(ALL_THERE).format(number=these))
    return entries.record_all(
        StorePlace,
        [
            (
                stamp if not n else stamp.again(),
                {"room": room, "aisle": aisle, "column": column, "shelf": shelf},
            )
            for n, (aisle, column, shelf) in enumerate(new)
        ],
    )
