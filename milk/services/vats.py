"""Filling vats from lots, and numbering the wheels that came of them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Sum
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local, local_day
from config.entries import Stamp
from config.errors import Conflict
from config.jobs import ask
from milk.held import check_may_pour
from milk.held_starter import check_may_start
from milk.herd_status import check_herd_free
from milk.in_vats import Content, contents_of
from milk.limits import plain
from milk.models import LotDraw, MilkLot, Recipe, StarterCan, Tank, Tray, Vat, VatFill
from milk.recipes import range_kg, recipe_of
from milk.services.changing import flowed_otherwise
from milk.services.flowing import (
    check_draw,
    check_found_milk,
    check_stands,
    check_times,
    check_weight,
    drawn_lots,
    weight,
)
from milk.services.lots import lock_tanks
from milk.services.skimming import check_not_aside

FILL_FROM = N_("Say where the milk came from: one tank, one tray, or one lot.")
NO_FILLS = N_("Nothing to fill: name at least one tank, tray or lot with its kg.")
FAR_FROM_VAT = N_(
    "{vat} was begun at {begun}; a fill at {at} does not belong to it. Look at day and hour."
)
# A vat is made within hours; a fill further away has a wrong day in it.
FAR = timedelta(hours=24)
NOT_THAT_LOT = N_(
    "At {at} {tank} did not hold lot {lot} alone: milk drawn then is {holds}. Choose that lot, or "
    "correct the time. Nothing was saved."
)
WRITE_ITS_END = N_("Write when the filling ended: then it is known which milk was in it.")
TRAY_NOT_YET = N_("{tray} was filled at {filled}; nothing can come out of it at {at}.")
LOT_VOID = N_("Lot {lot} is void: what opened it was struck. Choose the lot that has its milk.")
NO_SUCH_RECIPE = N_(
    "No recipe is called “{name}”. Expected one of: {known}; blank is the usual one."
)
OVER_FULL = N_(
    "{vat} holds {there} kg already; with {kg} kg it would be {whole} kg, and {recipe} allows at "
    "most {most} kg ({litres} l). Look at the vat and the kg. Nothing was saved."
)
OTHER_DAY = N_(
    "The filling began at {begun}; it is no vat of {day}. Expected {expected}. Look at both."
)
# A vat begun around midnight belongs to one day or the next.
DAYS_APART = timedelta(days=1)
MORE_CASEIN = N_("Casein is a part of protein: {casein} % of {protein} % cannot be. Look at both.")
STARTER_LATER = N_(
    "{can} was filled at {filled}, after this vat was begun at {begun}. Choose another."
)


@dataclass(frozen=True, kw_only=True)
class Fill:
    """One filling to be written: from a tank, a tray, or a lot (that its tank must hold then).

    ``at``, ``ended_at``: when, if not at the moment of the stamp.
    """

    kg: Decimal
    tank: Tank | None = None
    tray: Tray | None = None
    lot: MilkLot | None = None
    at: datetime | None = None
    ended_at: datetime | None = None


@transaction.atomic
def record_vat(*, stamp: Stamp, starter_can: StarterCan | None = None, **fields: Any) -> Vat:
    """Write down a make in a vat. Raises ValidationError by field."""
    check_starter(starter_can, stamp)
    check_may_start(starter_can, stamp.happened_at)
    check_recipe(fields.get("recipe", ""))
    check_day(fields.get("day"), stamp)
    check_contents(fields.get("protein"), fields.get("casein"))
    vat: Vat = entries.record(Vat, stamp=stamp, starter_can=starter_can, **fields)
    return vat


@transaction.atomic
def correct_vat(vat: Vat, *, stamp: Stamp, reason: str, words: str = "", **fields: Any) -> Vat:
    """Write a vat again under its number; its fills and wheels stay."""
    can = fields.get("starter_can", vat.starter_can)
    check_starter(can, stamp)
    if can != vat.starter_can:
        check_may_start(can, stamp.happened_at)
    check_recipe(fields.get("recipe", ""))
    check_day(fields.get("day", vat.day), stamp)
    check_contents(fields.get("protein", vat.protein), fields.get("casein", vat.casein))
    corrected: Vat = entries.correct(vat, stamp=stamp, reason=reason, words=words, **fields)
    return corrected


def check_day(day: date | None, stamp: Stamp) -> None:
    """Refuse a vat of another day than it was begun on. Raises ValidationError at ``day``."""
    begun = local_day(stamp.happened_at)
    if day is not None and abs(day - begun) > DAYS_APART:
        words = _(OTHER_DAY).format(day=day, begun=local(stamp.happened_at), expected=begun)
        raise ValidationError({"day": words})


def check_contents(protein: Decimal | None, casein: Decimal | None) -> None:
    """Refuse more casein than protein, of which it is a part. Raises ValidationError."""
    if protein is not None and casein is not None and casein > protein:
        words = _(MORE_CASEIN).format(casein=plain(casein), protein=plain(protein))
        raise ValidationError({"casein": words})


def check_recipe(name: str) -> None:
    """Refuse the name of a recipe that no row has. Raises ValidationError at ``recipe``."""
    if not name:
        return
    names = Recipe.objects.standing().order_by("name").values_list("name", flat=True).distinct()
    if name.lower() not in {one.lower() for one in names}:
        known = ", ".join(names) or _("none is written yet")
        raise ValidationError({"recipe": _(NO_SUCH_RECIPE).format(name=name, known=known)})


def check_starter(can: StarterCan | None, stamp: Stamp) -> None:
    """Refuse starter that was struck, or that came of a later vat."""
    check_stands(can, "starter_can")
    if can is not None and can.happened_at > stamp.happened_at:
        words = _(STARTER_LATER).format(
            can=capfirst(str(can)),
            filled=local(can.happened_at),
            begun=local(stamp.happened_at),
        )
        raise ValidationError({"starter_can": words})


@transaction.atomic
def fill_vat(
    *,
    stamp: Stamp,
    vat: Vat,
    kg: Decimal,
    tank: Tank | None = None,
    tray: Tray | None = None,
    lot: MilkLot | None = None,
    ended_at: datetime | None = None,
) -> VatFill:
    """Fill milk into a vat; which lots it is of follows from the tank or the tray.

    Raises ValidationError by field; Conflict when there is no milk, another lot than named, or
    milk that was held when it was poured.
    """
    wanted = Fill(kg=kg, tank=tank, tray=tray, lot=lot, ended_at=ended_at)
    return fill_vat_from(stamp=stamp, vat=vat, fills=[wanted])[0]


@transaction.atomic
def fill_vat_from(*, stamp: Stamp, vat: Vat, fills: Sequence[Fill]) -> list[VatFill]:
    """Fill a vat from several tanks, trays or lots in one act; all of it or nothing.

    The first entry takes the number of the stamp. Raises as ``fill_vat`` does.
    """
    if not fills:
        raise ValidationError({"fills": _(NO_FILLS)})
    lock_tanks()
    check_stands(vat, "vat")
    check_room(vat, sum((wanted.kg for wanted in fills), Decimal(0)))
    made = [
        write_fill(stamp if place == 0 else stamp.again(), vat, wanted)
        for place, wanted in enumerate(fills)
    ]
    flowed_otherwise(*made)
    for fill, wanted in zip(made, fills, strict=True):
        check_poured(fill, wanted.lot)
    ask("milk.tasks.look_at_vats")
    return made


def look_before_pouring(*, stamp: Stamp, vat: Vat, fills: Sequence[Fill], at: datetime) -> Content:
    """What a vat would hold after a filling: the same answer, with nothing written.

    Raises as ``fill_vat_from`` does.
    """
    with transaction.atomic():
        fill_vat_from(stamp=stamp, vat=vat, fills=fills)
        (content,) = contents_of([vat], at)
        transaction.set_rollback(True)
    return content


def check_room(vat: Vat, kg: Decimal) -> None:
    """Refuse more milk than the recipe of a vat allows. Raises ValidationError at ``kg``."""
    recipe = recipe_of(vat)
    _rest, most = range_kg(recipe)
    if recipe is None or most is None:
        return
    there = VatFill.objects.standing().filter(vat=vat).aggregate(kg=Sum("kg"))["kg"] or Decimal(0)
    if there + kg > most:
        words = _(OVER_FULL).format(
            vat=capfirst(str(vat)),
            there=weight(there),
            kg=weight(kg),
            whole=weight(there + kg),
            recipe=recipe.name,
            most=weight(most),
            litres=weight(recipe.most_l or Decimal(0)),
        )
        raise ValidationError({"kg": words})


def write_fill(stamp: Stamp, vat: Vat, wanted: Fill) -> VatFill:
    """One checked entry of a filling."""
    if wanted.at is not None:
        offset = entries.offset_minutes(wanted.at)
        stamp = replace(stamp, happened_at=wanted.at, zone_offset=offset)
    tank = source_of(wanted)
    check_times(stamp, wanted.ended_at)
    if abs(stamp.happened_at - vat.happened_at) > FAR:
        begun, at = local(vat.happened_at), local(stamp.happened_at)
        words = _(FAR_FROM_VAT).format(vat=capfirst(str(vat)), begun=begun, at=at)
        raise ValidationError({"happened_at": words})
    check_weight(wanted.kg)
    if tank is not None:
        check_draw(tank, wanted.kg)
    if wanted.tray is not None:
        check_tray(wanted.tray, stamp)
    made: VatFill = entries.record(
        VatFill,
        stamp=stamp,
        vat=vat,
        tank=tank,
        tray=wanted.tray,
        kg=wanted.kg,
        ended_at=wanted.ended_at,
    )
    return made


def source_of(wanted: Fill) -> Tank | None:
    """The tank of a filling; None for a tray. Raises ValidationError for none or several."""
    named = [one for one in (wanted.tank, wanted.tray, wanted.lot) if one is not None]
    if len(named) != 1:
        raise ValidationError({"tank": _(FILL_FROM)})
    if wanted.lot is None:
        return wanted.tank
    if wanted.lot.void:
        raise ValidationError({"lot": _(LOT_VOID).format(lot=wanted.lot)})
    return wanted.lot.tank


def check_tray(tray: Tray, stamp: Stamp) -> None:
    """Refuse milk out of a tray that was struck, set aside, or before it was filled."""
    check_stands(tray, "tray")
    check_not_aside(tray, stamp)
    if stamp.happened_at < tray.happened_at:
        filled, at = local(tray.happened_at), local(stamp.happened_at)
        words = _(TRAY_NOT_YET).format(tray=capfirst(str(tray)), filled=filled, at=at)
        raise ValidationError({"happened_at": words})


def check_poured(fill: VatFill, named: MilkLot | None) -> None:
    """Refuse a fill without milk, of another lot than named, or of milk held by then."""
    if fill.tray is not None:
        held = drawn_lots("tray", fill.tray)
        check_own(held, fill)
        check_may_pour(lots=held, at=fill.happened_at)
        return
    held = check_found_milk("vat_fill", fill)
    check_own(held, fill)
    if named is not None and {lot.pk for lot in held} != {named.pk}:
        holds = _(" and ").join(f"{lot} ({weight(drawn(fill, lot))} kg)" for lot in held)
        words = _(NOT_THAT_LOT).format(
            at=local(fill.happened_at),
            tank=fill.tank,
            lot=named,
            holds=_("of lot {holds}").format(holds=holds),
        )
        if fill.ended_at is None and len(held) > 1:
            words = f"{words} {_(WRITE_ITS_END)}"
        raise Conflict(words)
    check_may_pour(lots=held, at=fill.happened_at)


def check_own(lots: Iterable[MilkLot], fill: VatFill) -> None:
    """Refuse milk of our own herd while it is not officially free; a supplier's is his to prove."""
    if any(lot.delivery_id is None for lot in lots):
        check_herd_free(fill.happened_at)


def drawn(fill: VatFill, lot: MilkLot) -> Decimal:
    kg: Decimal = LotDraw.objects.get(vat_fill=fill, lot=lot).kg
    return kg
