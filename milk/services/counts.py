"""An aisle counted by its plates, and what follows from the differences."""

from dataclasses import dataclass, field, replace
from typing import Any
from uuid import UUID, uuid4

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from milk.models import StockCount, StoreGap, StorePlace, StoreStay, Wheel, WheelPlace
from milk.places import GONE, IN_DAIRY, SENT, where_is
from milk.scans import Scan, scans
from milk.services.store import check_aisle, check_wheel
from milk.services.wheel_places import place_again

TWICE = N_("Plate {plate} was scanned twice. Each plate is one wheel: look which of the two it is.")
SHELF_TWICE = N_(
    "Two plates were scanned for shelf {shelf}: {one} and {other}. Look which lies there."
)
NO_SUCH_SHELF = N_("Aisle {aisle} of {room} has no shelf {shelf} in the book.")
OTHER_AISLE = N_(
    "Shelf {shelf} was scanned in another aisle. This count is of {room}, aisle {aisle}."
)
NOTHING_SCANNED = N_(
    "Scan at least one plate. An aisle that is empty needs the tick “nothing there”."
)
NOT_KNOWN = N_("no such plate is in the book")
ELSEWHERE = N_("the book has it {place}; scan its shelf too, and it is written here")
MOVED = N_("found on shelf {shelf}; the book had it {place}")
MISSING = N_("not found; the book has it on shelf {shelf}")
LEFT = N_("lies here, but the book has it {place}: look into it before anything else")


@dataclass
class Aisle:
    """An aisle as the book has it: its shelves by (column, shelf), who lies on them by plate."""

    room: str
    aisle: int
    shelves: dict[tuple[int, int], StorePlace]
    lying: dict[str, tuple[Wheel, StorePlace]]


@dataclass(frozen=True)
class Step:
    """A wheel found on a shelf, or not found on it, as it will be written."""

    wheel: Wheel
    place: StorePlace
    number: UUID = field(default_factory=uuid4)


@dataclass
class Outcome:
    """What a count comes to: steps to write, and the differences in words.

    Each step has its number before it is written, and the difference it comes from names it: so a
    count that is struck takes its steps along.
    """

    here: int = 0
    moved: list[Step] = field(default_factory=list)
    missing: list[Step] = field(default_factory=list)
    differences: list[dict[str, str]] = field(default_factory=list)

    def tell(self, plate: str, what: str, words: str, step: Step | None = None) -> None:
        number = {"step": str(step.number)} if step else {}
        self.differences.append({"plate": plate, "what": what, "words": words, **number})


@transaction.atomic
def record_stock_count(
    *, stamp: Stamp, room: str, aisle: int, scanned: str = "", nothing: bool = False
) -> StockCount:
    """Write a count of an aisle, and what it found: wheels on other shelves, and missing ones.

    ``scanned``: what the scanner typed (see ``milk.scans``). Raises ValidationError by field.
    """
    check_aisle(room, aisle)
    try:
        read = scans(scanned)
    except ValueError as error:
        raise ValidationError({"scanned": str(error)}) from error
    if not read and not nothing:
        raise ValidationError({"scanned": _(NOTHING_SCANNED)})
    there = aisle_of(room, aisle)
    refuse_twice(read)
    outcome = compare(there, read)
    for step in (*outcome.moved, *outcome.missing):
        check_wheel(stamp, step.wheel)
    count: StockCount = entries.record(
        StockCount,
        stamp=stamp,
        room=room,
        aisle=aisle,
        expected=len(there.lying),
        found=outcome.here,
        differences=outcome.differences,
    )
    write_steps(stamp, outcome)
    return count


def write_steps(stamp: Stamp, outcome: Outcome) -> None:
    """The wheels found on other shelves, and those not found."""
    entries.record_all(
        StoreStay,
        [
            (numbered(stamp, step), {"wheel": step.wheel, "place": step.place, "found": True})
            for step in outcome.moved
        ],
    )
    entries.record_all(
        StoreGap,
        [
            (numbered(stamp, step), {"wheel": step.wheel, "place": step.place})
            for step in outcome.missing
        ],
    )
    place_again([step.wheel.pk for step in (*outcome.moved, *outcome.missing)])


def numbered(stamp: Stamp, step: Step) -> Stamp:
    return replace(stamp.again(), uuid=step.number)


@transaction.atomic
def strike_stock_count(
    count: StockCount, *, by: User, reason: str, words: str = "", **options: Any
) -> StockCount:
    """Strike a count with what it wrote: its wheels lie where the book had them before it.

    A step that somebody struck meanwhile stays struck; what was written since stands.
    """
    struck: StockCount = entries.strike(count, by=by, reason=reason, words=words, **options)
    numbers = [one["step"] for one in count.differences if "step" in one]
    moved = []
    for model in (StoreStay, StoreGap):
        for step in model.objects.standing().filter(uuid__in=numbers).order_by("pk"):
            entries.strike(step, by=by, reason=reason, words=words, **options)
            moved.append(step.wheel_id)
    place_again(moved)
    return struck


def aisle_of(room: str, aisle: int) -> Aisle:
    """An aisle with its shelves and the wheels on them; two statements."""
    places = StorePlace.objects.standing().filter(room=room, aisle=aisle)
    lying = WheelPlace.objects.filter(place__room=room, place__aisle=aisle, place__struck_at=None)
    return Aisle(
        room,
        aisle,
        {(place.column, place.shelf): place for place in places},
        {
            row.wheel.plate: (row.wheel, row.place)
            for row in lying.select_related("wheel", "place")
            if row.place is not None
        },
    )


def refuse_twice(read: list[Scan]) -> None:
    """Refuse a plate or a shelf scanned twice. Raises ValidationError."""
    plates: set[str] = set()
    shelves: dict[str, str] = {}
    for scan in read:
        if scan.plate in plates:
            raise ValidationError({"scanned": _(TWICE).format(plate=scan.plate)})
        plates.add(scan.plate)
        shelf = str(scan.shelf) if scan.shelf else ""
        if shelf and shelf in shelves:
            words = _(SHELF_TWICE).format(shelf=shelf, one=shelves[shelf], other=scan.plate)
            raise ValidationError({"scanned": words})
        shelves[shelf] = scan.plate


def compare(there: Aisle, read: list[Scan]) -> Outcome:
    """What was scanned against what the book has in the aisle. Raises ValidationError."""
    outcome = Outcome()
    plates = {scan.plate for scan in read}
    found = Wheel.objects.standing().filter(plate__in=plates)
    wheels = {wheel.plate: wheel for wheel in found}
    places = where_is([wheel.pk for wheel in wheels.values()])
    for scan in read:
        shelf = shelf_in(there, scan)
        wheel = wheels.get(scan.plate)
        if wheel is None:
            outcome.tell(scan.plate, "strange", _(NOT_KNOWN))
        elif scan.plate in there.lying and shelf in (None, there.lying[scan.plate][1]):
            outcome.here += 1
        else:
            judge_moved(outcome, wheel, shelf, places[wheel.pk])
    for plate, (wheel, place) in sorted(there.lying.items()):
        if plate not in plates:
            step = Step(wheel, place)
            outcome.missing.append(step)
            shelf_said = f"{place.column}/{place.shelf}"
            outcome.tell(plate, "missing", _(MISSING).format(shelf=shelf_said), step)
    return outcome


def judge_moved(outcome: Outcome, wheel: Wheel, shelf: StorePlace | None, place: Any) -> None:
    """A wheel of which the book says that it lies elsewhere."""
    words = _("in the dairy") if place.kind == IN_DAIRY else _("at {place}").format(place=place)
    if place.kind in (SENT, GONE):
        outcome.tell(wheel.plate, "strange", _(LEFT).format(place=place))
    elif shelf is None:
        outcome.tell(wheel.plate, "strange", _(ELSEWHERE).format(place=words))
    else:
        outcome.here += 1
        step = Step(wheel, shelf)
        outcome.moved.append(step)
        at = f"{shelf.column}/{shelf.shelf}"
        outcome.tell(wheel.plate, "moved", _(MOVED).format(shelf=at, place=words), step)


def shelf_in(there: Aisle, scan: Scan) -> StorePlace | None:
    """The shelf scanned with a plate; None without one. Raises ValidationError."""
    shelf = scan.shelf
    if shelf is None:
        return None
    names = {"shelf": shelf, "room": there.room, "aisle": there.aisle}
    if shelf.aisle is not None and (shelf.room, shelf.aisle) != (there.room, there.aisle):
        raise ValidationError({"scanned": _(OTHER_AISLE).format(**names)})
    place = there.shelves.get((shelf.column, shelf.shelf))
    if place is None:
        raise ValidationError({"scanned": _(NO_SUCH_SHELF).format(**names)})
    return place
