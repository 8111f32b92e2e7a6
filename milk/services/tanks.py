"""What happens to tanks: washed, emptied, drawn, moved; deliveries; trays."""

from datetime import datetime
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from herd.models import Holding
from milk.day_balance import in_tanks
from milk.held import check_may_draw_off, check_may_pour
from milk.models import Delivery, Skimming, Tank, TankEvent, Tray
from milk.services.changing import flowed_otherwise
from milk.services.flowing import (
    check_celsius,
    check_draw,
    check_fits,
    check_found_milk,
    check_stands,
    check_times,
    check_weight,
    weight,
)
from milk.services.lots import lock_tanks
from milk.services.skimming import cream_again

KG_MISSING = N_("Give the kg: how much milk was {what}?")
LEVEL_MISSING = N_("Give the kg that the level stands for.")
CELSIUS_MISSING = N_("Give the °C that was read.")
KG_SAYS_NOTHING = N_("A tank is washed or emptied whole, a line has no weight; leave the kg away.")
WHERE_TO = N_("Say which other tank it goes to.")
ONLY_WHEN_MOVED = N_("Only milk moved, or a line switched, goes to another tank; leave this away.")
NO_ROOM = N_(
    "{tank} has {there} kg in it by the book; {kg} kg more do not go into {capacity} kg. Nothing "
    "was saved. Look at the kg; or write first what was drawn from it, or the level that you read."
)
SAME_TANK = N_("Milk cannot be moved from {tank} to itself. Choose the other tank.")

WHOLE = (TankEvent.What.WASHED, TankEvent.What.EMPTIED)
WITHOUT_KG = (*WHOLE, TankEvent.What.SWITCHED)
NEEDS_KG = (*TankEvent.TAKES_MILK, TankEvent.What.LEVEL)


@transaction.atomic
def record_tank_event(
    *,
    stamp: Stamp,
    tank: Tank,
    what: str,
    kg: Decimal | None = None,
    to_tank: Tank | None = None,
    ended_at: datetime | None = None,
    **fields: Any,
) -> TankEvent:
    """Write down what was done with a tank, and compute its lots again.

    ``kg``: for milk drawn, dumped or moved, and for a level. Raises ValidationError by field, and
    Conflict when milk is taken from a tank in which the book knows none.
    """
    lock_tanks()
    check_times(stamp, ended_at)
    check_event(tank, what, kg, to_tank)
    if what == TankEvent.What.MOVED and to_tank is not None and kg is not None:
        check_room(to_tank, kg, stamp.happened_at)
    if what == TankEvent.What.TEMPERATURE and fields.get("temperature") is None:
        raise ValidationError({"temperature": _(CELSIUS_MISSING)})
    if what not in WHOLE:
        check_celsius(fields.get("temperature"))
    event: TankEvent = entries.record(
        TankEvent,
        stamp=stamp,
        tank=tank,
        what=what,
        kg=kg,
        to_tank=to_tank,
        ended_at=ended_at,
        **fields,
    )
    if what in TankEvent.TAKES_MILK or what in WHOLE:
        flowed_otherwise(event)
    if what in TankEvent.TAKES_MILK:
        lots = check_found_milk("tank_event", event)
        if what == TankEvent.What.DRAWN:
            check_may_draw_off(lots=lots, at=event.happened_at)
    return event


def check_event(tank: Tank, what: str, kg: Decimal | None, to_tank: Tank | None) -> None:
    """Refuse an event whose kg or other tank does not go with what was done."""
    check_stands(tank, "tank")
    check_stands(to_tank, "to_tank")
    if what in NEEDS_KG and kg is None:
        done = TankEvent.What(what).label
        words = (
            _(LEVEL_MISSING) if what == TankEvent.What.LEVEL else _(KG_MISSING).format(what=done)
        )
        raise ValidationError({"kg": words})
    if what in WITHOUT_KG and kg is not None:
        raise ValidationError({"kg": _(KG_SAYS_NOTHING)})
    if what in TankEvent.TO_ANOTHER and to_tank is None:
        raise ValidationError({"to_tank": _(WHERE_TO)})
    if what not in TankEvent.TO_ANOTHER and to_tank is not None:
        raise ValidationError({"to_tank": _(ONLY_WHEN_MOVED)})
    if to_tank is not None and to_tank.pk == tank.pk:
        raise ValidationError({"to_tank": _(SAME_TANK).format(tank=tank)})
    if what in NEEDS_KG:
        check_draw(tank, kg)
    if to_tank is not None and kg is not None:
        check_fits(to_tank, kg)


def check_room(tank: Tank, kg: Decimal, at: datetime) -> None:
    """Refuse more milk than a tank has room for, by the book or by the level read last."""
    there = in_tanks(at).get(tank.name, Decimal(0))
    if there + kg > tank.capacity_kg:
        words = _(NO_ROOM).format(
            tank=tank, there=weight(there), kg=weight(kg), capacity=weight(tank.capacity_kg)
        )
        raise ValidationError({"to_tank": words})


@transaction.atomic
def record_delivery(
    *,
    stamp: Stamp,
    way: str,
    holding: Holding,
    tank: Tank,
    kg: Decimal,
    ended_at: datetime | None = None,
    **fields: Any,
) -> Delivery:
    """Write down milk from a supplier, a lot of its own, or milk that went to a buyer.

    Raises ValidationError by field; Conflict when the tank holds no milk or milk that is held.
    """
    lock_tanks()
    check_times(stamp, ended_at)
    check_stands(holding, "holding")
    check_weight(kg)
    check_delivery(way, tank, kg)
    check_celsius(fields.get("temperature"))
    delivery: Delivery = entries.record(
        Delivery,
        stamp=stamp,
        way=way,
        holding=holding,
        tank=tank,
        kg=kg,
        ended_at=ended_at,
        **fields,
    )
    flowed_otherwise(delivery)
    check_went_out(delivery)
    return delivery


def check_delivery(way: str, tank: Tank, kg: Decimal) -> None:
    if way == Delivery.Way.OUT:
        check_draw(tank, kg)
    else:
        check_fits(tank, kg)


def check_went_out(delivery: Delivery) -> None:
    """Refuse to sell milk that is not there, or that is held."""
    if delivery.way == Delivery.Way.OUT:
        check_may_pour(lots=check_found_milk("delivery", delivery), at=delivery.happened_at)


@transaction.atomic
def correct_delivery(
    delivery: Delivery, *, stamp: Stamp, reason: str, words: str = "", **fields: Any
) -> Delivery:
    """Write a delivery again under its number, and compute the lots of its tanks again."""
    lock_tanks()
    check_times(stamp, fields.get("ended_at", delivery.ended_at))
    new = {name: fields.get(name, getattr(delivery, name)) for name in ("way", "tank", "kg")}
    check_weight(new["kg"])
    check_delivery(**new)
    check_celsius(fields.get("temperature", delivery.temperature))
    corrected = entries.correct(delivery, stamp=stamp, reason=reason, words=words, **fields)
    flowed_otherwise(delivery, corrected)
    if corrected.way == Delivery.Way.OUT:
        check_found_milk("delivery", corrected)
    return corrected


@transaction.atomic
def record_tray(
    *,
    stamp: Stamp,
    number: int,
    tank: Tank,
    kg: Decimal,
    ended_at: datetime | None = None,
    cream_kg: Decimal | None = None,
    **fields: Any,
) -> Tray:
    """Write down a tray filled from a tank; its milk is drawn from the tank's lot.

    ``cream_kg``: skimmed already; written as a look at the tray. Raises ValidationError by field;
    Conflict when the tank holds no milk or milk that is held.
    """
    lock_tanks()
    check_times(stamp, ended_at)
    check_draw(tank, kg)
    check_celsius(fields.get("temperature"))
    tray: Tray = entries.record(
        Tray,
        stamp=stamp,
        number=number,
        tank=tank,
        kg=kg,
        ended_at=ended_at,
        cream_kg=cream_kg,
        **fields,
    )
    if cream_kg is not None:
        entries.record(Skimming, stamp=stamp.again(), tray=tray, cream_kg=cream_kg)
    flowed_otherwise(tray)
    check_may_pour(lots=check_found_milk("tray", tray), at=tray.happened_at)
    return tray


@transaction.atomic
def correct_tray(tray: Tray, *, stamp: Stamp, reason: str, words: str = "", **fields: Any) -> Tray:
    """Write a tray again under its number; the vats filled from it follow."""
    lock_tanks()
    check_times(stamp, fields.get("ended_at", tray.ended_at))
    check_draw(fields.get("tank", tray.tank), fields.get("kg", tray.kg))
    check_celsius(fields.get("temperature", tray.temperature))
    cream = fields.get("cream_kg", tray.cream_kg)
    corrected = entries.correct(tray, stamp=stamp, reason=reason, words=words, **fields)
    cream_again(tray, cream, stamp=stamp, reason=reason, words=words)
    flowed_otherwise(tray, corrected, vats=corrected.vat_fills.values_list("vat", flat=True))
    check_found_milk("tray", corrected)
    return corrected
