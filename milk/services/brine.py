"""Wheels into and out of the brine, by the row or one by one."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local
from config.entries import Stamp
from config.errors import Conflict
from milk.brine import by_number
from milk.models import BrineOut, BrineReading, BrineRow, BrineStay, Wheel
from milk.places import IN_BRINE, IN_STORE, Place, in_brine, where_is
from milk.services.store import check_steps, check_wheel
from milk.services.wheel_places import place_again, soaking

NO_WHEELS = N_("Name at least one wheel: by its vat, or by its plate.")
NO_SUCH_ROW = N_("{name} is not in the book. Rows of bath {bath}: {rows}.")
NO_SUCH_BATH = N_("Bath {bath} is not in the book. Baths with rows: {baths}.")
ROW_NEEDED = N_("Bath {bath} has rows: {rows}. Write which one.")
ROW_FULL = N_(
    "{name} takes {holds} wheels, and {there} lie in it by the book. {more} more do not go in. "
    "Write what is out of it first, or choose another row."
)
THERE_ALREADY = N_("{wheel} lies in {place} already, since {since}. Nothing was saved.")
FROM_STORE = N_(
    "{wheel} was laid in the store before that ({place}, since {since}). A wheel goes into brine "
    "before it goes into the store: look at the plate, or strike that entry first."
)
EMPTY_ROW = N_("{name} is empty by the book at {at}: there is nothing to take out.")
BEFORE_IN = N_(
    "{wheel} went into brine at {since}; it cannot have come out at {at}. Look at both times."
)
NOT_IN_BRINE = N_("{wheel} was not in brine at {at}: it was {place}. Nothing was saved.")
# Rows are emptied within weeks; what lay there longer is taken out wheel by wheel.
LONGEST_SOAK = timedelta(days=200)


def named(bath: str, row: str) -> str:
    """A row for the start of a sentence."""
    return _("Bath {bath}").format(bath=bath) + (_(", row {row}").format(row=row) if row else "")


@transaction.atomic
def record_brine_stay(*, stamp: Stamp, wheel: Wheel, bath: str, row: str = "") -> BrineStay:
    """Put a wheel into brine. Raises as ``row_in``."""
    return row_in(stamp=stamp, bath=bath, row=row, wheels=[wheel])[0]


@transaction.atomic
def row_in(*, stamp: Stamp, bath: str, row: str, wheels: Sequence[Wheel]) -> list[BrineStay]:
    """Put wheels into a row in one act, all or none; those of another row are moved.

    Raises ValidationError by field; Conflict for a wheel that lies there already, was in the store
    by then or has left, and for a row that does not take so many.
    """
    bath, row = bath.strip(), row.strip()
    if not wheels:
        raise ValidationError({"wheels": _(NO_WHEELS)})
    check_row(bath, row, [wheel.pk for wheel in wheels], stamp.happened_at)
    places = check_steps(stamp, wheels)
    for wheel in wheels:
        check_not_there(wheel, places[wheel.pk], bath, row)
    made = entries.record_all(
        BrineStay,
        [
            (stamp if not n else stamp.again(), {"wheel": wheel, "bath": bath, "row": row})
            for n, wheel in enumerate(wheels)
        ],
    )
    place_again([wheel.pk for wheel in wheels])
    return made


def check_not_there(wheel: Wheel, place: Place, bath: str, row: str) -> None:
    """Refuse a wheel that lies in this row already, or lay in the store. Raises Conflict."""
    name = capfirst(str(wheel))
    since = local(place.at) if place.at else ""
    if place.kind == IN_BRINE and str(place) == in_brine(bath, row):
        raise Conflict(_(THERE_ALREADY).format(wheel=name, place=place, since=since))
    if place.kind == IN_STORE:
        raise Conflict(_(FROM_STORE).format(wheel=name, place=place.shelf, since=since))


def check_row(bath: str, row: str, wheels: Sequence[int], at: datetime) -> None:
    """Refuse a row that the book does not have, or that does not take so many wheels.

    An estate that has written no rows at all may name its baths as it likes.
    """
    rows = {(found.bath, found.row): found for found in BrineRow.objects.standing()}
    if not rows:
        return
    names = ", ".join(sorted((name for there, name in rows if there == bath), key=by_number))
    if not names:
        baths = ", ".join(sorted({there for there, _ in rows}, key=by_number))
        raise ValidationError({"bath": _(NO_SUCH_BATH).format(bath=bath, baths=baths)})
    if not row:
        raise ValidationError({"row": _(ROW_NEEDED).format(bath=bath, rows=names)})
    if (bath, row) not in rows:
        words = _(NO_SUCH_ROW).format(name=named(bath, row), bath=bath, rows=names)
        raise ValidationError({"row": words})
    there = set(in_row(bath, row, at)) - set(wheels)
    holds = rows[bath, row].holds
    if len(there) + len(wheels) > holds:
        words = _(ROW_FULL).format(
            name=named(bath, row), holds=holds, there=len(there), more=len(wheels)
        )
        raise Conflict(words)


def in_row(bath: str, row: str, at: datetime) -> dict[int, tuple[int, datetime]]:
    """The wheels (keys) that lay in a row at ``at``: by which stay, and since when in brine."""
    stays = BrineStay.objects.standing().filter(
        bath=bath, row=row, happened_at__lte=at, happened_at__gt=at - LONGEST_SOAK
    )
    by_stay = dict(stays.values_list("pk", "wheel"))
    found = soaking(set(by_stay.values()), at) if by_stay else {}
    return {wheel: put_in for wheel, put_in in found.items() if put_in[0] in by_stay}


@transaction.atomic
def row_out(*, stamp: Stamp, bath: str, row: str) -> list[BrineOut]:
    """Take everything out of a row that lay in it at the moment of the stamp, in one act.

    Raises Conflict when the row was empty then, ValidationError when its wheels went in later.
    """
    bath, row, at = bath.strip(), row.strip(), stamp.happened_at
    found = in_row(bath, row, at)
    if not found:
        refuse_empty(bath, row, at)
    wheels = Wheel.objects.in_bulk(list(found))
    made = entries.record_all(
        BrineOut,
        [
            (
                stamp if not n else stamp.again(),
                {
                    "wheel": wheels[wheel],
                    "stay": BrineStay(pk=stay),
                    "put_in_at": since,
                },
            )
            for n, (wheel, (stay, since)) in enumerate(sorted(found.items()))
        ],
    )
    place_again(list(found))
    return made


def refuse_empty(bath: str, row: str, at: datetime) -> None:
    """Say that a row was empty at ``at``, or that its wheels only went in later."""
    later = (
        BrineStay.objects.standing()
        .filter(bath=bath, row=row, happened_at__gt=at, outs=None)
        .select_related("wheel")
        .order_by("happened_at")
        .first()
    )
    if later is None:
        raise Conflict(_(EMPTY_ROW).format(name=named(bath, row), at=local(at)))
    words = _(BEFORE_IN).format(
        wheel=capfirst(str(later.wheel)), since=local(later.happened_at), at=local(at)
    )
    raise ValidationError({"happened_at": words})


@transaction.atomic
def record_brine_out(*, stamp: Stamp, wheel: Wheel) -> BrineOut:
    """Take one wheel out of the brine. Raises ValidationError, or Conflict when it is not there."""
    check_wheel(stamp, wheel)
    at = stamp.happened_at
    found = soaking([wheel.pk], at).get(wheel.pk)
    name = capfirst(str(wheel))
    if found is None:
        first = wheel.brine_stays.filter(struck_at=None).order_by("happened_at").first()
        if first is not None and first.happened_at > at:
            words = _(BEFORE_IN).format(wheel=name, since=local(first.happened_at), at=local(at))
            raise ValidationError({"happened_at": words})
        place = where_is([wheel.pk], at)[wheel.pk]
        raise Conflict(_(NOT_IN_BRINE).format(wheel=name, at=local(at), place=place.said))
    stay, since = found
    out: BrineOut = entries.record(
        BrineOut,
        stamp=stamp,
        wheel=wheel,
        stay=BrineStay.objects.get(pk=stay),
        put_in_at=since,
    )
    place_again([wheel.pk])
    return out


@transaction.atomic
def record_brine_reading(*, stamp: Stamp, bath: str, **fields: Any) -> BrineReading:
    """Write what was measured of a bath. Raises ValidationError by field."""
    baths = set(BrineRow.objects.standing().values_list("bath", flat=True))
    if baths and bath not in baths:
        names = ", ".join(sorted(baths, key=by_number))
        raise ValidationError({"bath": _(NO_SUCH_BATH).format(bath=bath, baths=names)})
    return entries.record(BrineReading, stamp=stamp, bath=bath, **fields)
