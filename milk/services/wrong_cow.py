"""A cow milked into a tank by mistake: in one act the tank is held and the rest goes elsewhere."""

from decimal import Decimal
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
from config.language import in_estate_language
from config.notices import raise_notice
from config.roles import MILKER
from herd.models import Animal, Group
from milk.models import Hold, HoldStep, Tank, TankEvent, WrongCow
from milk.services.flowing import check_fits, check_stands, check_weight, weight
from milk.services.hold_steps import record_step
from milk.services.holds import cause_of_notice, hold_milk
from milk.services.lots import left_in, lock_tanks
from milk.services.milkings import MOST_OF_A_COW
from milk.services.taking_back import strike_hold
from milk.services.tanks import record_tank_event
from milk.services.timeline import lot_in

SAME_TANK = N_("The rest of the milking cannot go to {tank}: it is held. Choose another tank.")
INTO_WASTE = N_("{tank} is a waste tank: what is in it goes nowhere. There is nothing to stop.")
MORE_THAN_ALL = N_("{kg} kg of hers cannot be in {tank_kg} kg of the tank. Look at both.")
NO_COW = N_("{kg} kg is no weight of one cow's milking. Expected at most {most} kg.")
WORDS = N_("{cow} milked into {tank} at {at} by mistake{share}")
UNKNOWN = N_("an unknown cow")
CLOSE = N_("Close the valve of {tank}: {cow} was milked into it. {rest}")
REST = N_("The rest of the milking goes to {tank}.")
NO_REST = N_("Stop milking into it; nobody has said where the rest goes.")
OTHERWISE = N_("What goes in on top is held with it, and lost with it.")
VALVE = N_("valve of {tank} closed, nothing more goes into it")
OWN_STEPS = (HoldStep.What.STOPPED, HoldStep.What.SAMPLED)
STEPS_SINCE = N_(
    "Steps were written on its hold since ({steps}). Strike those first, or have two people decide."
)


@transaction.atomic
def record_wrong_cow(
    *,
    stamp: Stamp,
    tank: Tank,
    animal: Animal | None = None,
    group: Group | None = None,
    kg: Decimal | None = None,
    tank_kg: Decimal | None = None,
    to_tank: Tank | None = None,
    bottle_1: str = "",
    bottle_2: str = "",
) -> WrongCow:
    """Stop: hold the tank, write where the rest of the milking goes, and what was sealed.

    ``animal`` None: nobody knows who she is. ``kg``: hers; ``tank_kg``: in the tank with hers, by
    the book when it is not given and the book knows. Raises ValidationError by field.
    """
    lock_tanks()
    check_places(tank, animal, group, to_tank)
    if tank_kg is not None:
        check_fits(tank, tank_kg, field="tank_kg")
    tank_kg = tank_kg if tank_kg is not None else by_the_book(tank, stamp)
    check_kilos(kg, tank_kg)
    with in_estate_language():
        words = _(WORDS).format(
            cow=animal or _(UNKNOWN),
            tank=tank,
            at=local(stamp.happened_at),
            share=said(kg, tank_kg),
        )
    hold = hold_milk(stamp=stamp.again(), reason=Hold.Reason.WITHHELD, words=words, tank=tank)
    made: WrongCow = entries.record(
        WrongCow,
        stamp=stamp,
        tank=tank,
        animal=animal,
        group=group,
        kg=kg,
        tank_kg=tank_kg,
        to_tank=to_tank,
        bottle_1=bottle_1,
        bottle_2=bottle_2,
        hold=hold,
        switch=switched(stamp, tank, to_tank),
    )
    first_steps(stamp, hold, made)
    ring_milker(made)
    return made


@in_estate_language()
def ring_milker(made: WrongCow) -> None:
    """Tell the head milker which valve to close; it goes when the hold is decided."""
    rest = _(REST).format(tank=made.to_tank) if made.to_tank else _(NO_REST)
    raise_notice(
        cause=cause_of_notice(made.hold),
        role=MILKER,
        what=_(CLOSE).format(tank=made.tank, rest=rest, cow=made.animal or _(UNKNOWN)),
        where=str(made.tank),
        otherwise=_(OTHERWISE),
        url=f"/milk/holds/{made.hold.uuid}/",
    )


def check_places(
    tank: Tank, animal: Animal | None, group: Group | None, to_tank: Tank | None
) -> None:
    """Refuse struck entries, a waste tank, and the held tank as the other one."""
    for entry, field in (
        (tank, "tank"),
        (animal, "animal"),
        (group, "group"),
        (to_tank, "to_tank"),
    ):
        check_stands(entry, field)
    if tank.use == Tank.Use.WASTE:
        raise ValidationError({"tank": _(INTO_WASTE).format(tank=capfirst(str(tank)))})
    if to_tank is not None and to_tank.pk == tank.pk:
        raise ValidationError({"to_tank": _(SAME_TANK).format(tank=tank)})


def check_kilos(kg: Decimal | None, tank_kg: Decimal | None) -> None:
    """Refuse weights of nothing, and more of hers than there is in the tank."""
    check_weight(kg)
    check_weight(tank_kg, field="tank_kg")
    if kg is not None and kg > MOST_OF_A_COW:
        raise ValidationError({"kg": _(NO_COW).format(kg=weight(kg), most=weight(MOST_OF_A_COW))})
    if kg is not None and tank_kg is not None and kg > tank_kg:
        words = _(MORE_THAN_ALL).format(kg=weight(kg), tank_kg=weight(tank_kg))
        raise ValidationError({"kg": words})


def by_the_book(tank: Tank, stamp: Stamp) -> Decimal | None:
    """kg in a tank as far as it is written; None when that is nothing (the milking is on)."""
    lot = lot_in(tank, stamp.happened_at)
    left = left_in(lot) if lot is not None else Decimal(0)
    return left if left > 0 else None


def share_of(kg: Decimal | None, tank_kg: Decimal | None) -> Decimal | None:
    """Her part of the tank in per cent, to two places; it guides the testing and never releases."""
    if kg is None or not tank_kg:
        return None
    return round(kg / tank_kg * 100, 2)


def said(kg: Decimal | None, tank_kg: Decimal | None) -> str:
    share = share_of(kg, tank_kg)
    if share is None or kg is None or tank_kg is None:
        return ""
    return _(", {kg} kg of {tank_kg} kg ({share} %)").format(
        kg=weight(kg), tank_kg=weight(tank_kg), share=share
    )


def switched(stamp: Stamp, tank: Tank, to_tank: Tank | None) -> TankEvent | None:
    """The line sent to another tank; None when nobody said to which."""
    if to_tank is None:
        return None
    return record_tank_event(
        stamp=stamp.again(), tank=tank, what=TankEvent.What.SWITCHED, to_tank=to_tank
    )


@in_estate_language()
def first_steps(stamp: Stamp, hold: Hold, made: WrongCow) -> None:
    """What the button says was done already: the valve closed, two bottles sealed."""
    record_step(
        stamp=stamp.again(),
        hold=hold,
        what=HoldStep.What.STOPPED,
        words=_(VALVE).format(tank=made.tank),
    )
    bottles = ", ".join(filter(None, (made.bottle_1, made.bottle_2)))
    if bottles:
        record_step(stamp=stamp.again(), hold=hold, what=HoldStep.What.SAMPLED, bottles=bottles)


@in_estate_language()
@transaction.atomic
def strike_wrong_cow(
    wrong: WrongCow, *, by: Any, reason: str, words: str = "", **options: Any
) -> WrongCow:
    """Take the button back, with its hold and its line switch, in the time of one's own mistake.

    Raises Conflict when it is too late for that, or when more was done about the hold since.
    """
    # As it stands now: the caller's may be of before.
    wrong = WrongCow.objects.select_for_update(of=("self",)).get(pk=wrong.pk)
    hold = wrong.hold
    since = hold.steps.standing().exclude(what__in=OWN_STEPS)
    if since and not wrong.is_struck:
        steps = ", ".join(step.get_what_display() for step in since)
        raise Conflict(_(STEPS_SINCE).format(steps=steps))
    struck = entries.strike(wrong, by=by, reason=reason, words=words, **options)
    for step in hold.steps.standing():
        entries.strike(step, by=by, reason=reason, words=words)
    strike_hold(hold, by=by, reason=reason, words=words)
    if wrong.switch is not None and not wrong.switch.is_struck:
        entries.strike(wrong.switch, by=by, reason=reason, words=words)
    return struck
