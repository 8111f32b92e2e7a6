"""What may be ordered: the leaflet, the floors of the law, and the animal decide.

The same rules hold for a course, for a plan the vet keeps, and for a look at what one would cost.
"""

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import estate_zone, local
from herd import withdrawal
from herd.models import Animal, Group, GroupStay, Medicine
from herd.services import withdrawals
from herd.withdrawal import Estate, Leaflet, Ordered

# The vet writes in the morning what is given from the evening on; common practice, at most this.
ORDERED_AHEAD = timedelta(days=14)
IN_MILK = (Group.Use.FRESH, Group.Use.MILKING, Group.Use.HOSPITAL)
TOO_FAR_AHEAD = N_(
    "{at} is more than {days} days ahead. Expected the time of the first planned dose."
)
NEVER_IN_MILK = N_(
    "{medicine} is not for animals that give milk, and {animal} stands in {group}. Choose another "
    "product; it was not written."
)
DRY_IN_MILK = N_(
    "{medicine} is for cows that are dried off, and {animal} stands in {group}. Write the dry-off "
    "with it, or choose another product; it was not written."
)
NOT_IN_MILK = {withdrawal.NEVER: NEVER_IN_MILK, withdrawal.DRY: DRY_IN_MILK}
OFF_LEAFLET = N_(
    "{medicine} says {leaflet} on its leaflet, not {ordered}. Tick “off leaflet” and set your own "
    "period: the printed one does not hold."
)
OWN_PERIOD_MISSING = N_(
    "Off leaflet the vet must set a milk period in hours; the least is {floor} h (Reg (EU) 2019/6 "
    "Art. 115)."
)
BELOW_FLOOR = N_(
    "{own} {unit} is less than the floor. The least for {medicine} {how} is {floor} {unit}; enter "
    "that or more."
)
NO_RULE = N_("No rule says the least period off leaflet on {day}. Enter the period rules first.")
BARRED = N_(
    "{medicine} holds a substance that may never be given to animals that give food ({actives}). "
    "Nothing was written; choose another product."
)
ON_ITS_LEAFLET = N_(
    "The steps are for use off the leaflet, and this course is on it. Leave the step out, or say "
    "“off leaflet” with the vet's own milk period."
)


def check_course(at: datetime, *, animal: Animal, medicine: Medicine, **order: Any) -> None:
    """Refuse an order that the leaflet, the floors or the animal rule out.

    Raises ValidationError by field.
    """
    if at - timezone.now() > ORDERED_AHEAD:
        words = _(TOO_FAR_AHEAD).format(at=local(at), days=ORDERED_AHEAD.days)
        raise ValidationError({"happened_at": words})
    leaflet = check_order(at, medicine=medicine, **order)
    check_in_milk(at, animal, medicine, leaflet, off_leaflet=order.get("off_leaflet", False))


def check_order(
    at: datetime,
    *,
    medicine: Medicine,
    dose: Decimal,
    doses: int,
    interval_hours: int = 24,
    off_leaflet: bool = False,
    own_milk_hours: Decimal | None = None,
    own_meat_days: int | None = None,
    cascade: str = "",
    **others: Any,
) -> Leaflet | None:
    """Refuse what the leaflet or the floors rule out for any animal; the leaflet in force.

    Raises ValidationError by field.
    """
    if cascade and not off_leaflet:
        raise ValidationError({"cascade": _(ON_ITS_LEAFLET)})
    if medicine.barred:
        actives = medicine.actives or _("its leaflet names them")
        raise ValidationError({"medicine": _(BARRED).format(medicine=medicine, actives=actives)})
    estate = Estate(estate_zone(), withdrawals.dated_rules())
    leaflets = withdrawals.leaflets_of([medicine.pk]).get(medicine.pk, ())
    ordered = Ordered(at, doses, interval_hours, leaflets=leaflets)
    last = withdrawal.last_dose(ordered) or at
    leaflet = estate.leaflet(leaflets, last)
    if not off_leaflet:
        check_leaflet(medicine, dose, doses, interval_hours, last)
    check_own(
        last,
        estate,
        leaflet,
        medicine=medicine,
        off_leaflet=off_leaflet,
        own_milk_hours=own_milk_hours,
        own_meat_days=own_meat_days,
    )
    return leaflet


def check_in_milk(
    at: datetime,
    animal: Animal,
    medicine: Medicine,
    leaflet: Leaflet | None,
    *,
    off_leaflet: bool,
) -> None:
    """Refuse a product not for animals in milk, or a dry-cow product used on its leaflet there.

    Raises ValidationError at ``medicine``.
    """
    if leaflet is None or leaflet.milk not in (withdrawal.NEVER, withdrawal.DRY):
        return
    if leaflet.milk == withdrawal.DRY and off_leaflet:
        return
    stay = GroupStay.objects.at(at).filter(animal=animal).select_related("group").first()
    if stay and stay.group and stay.group.use in IN_MILK:
        words = _(NOT_IN_MILK[leaflet.milk]).format(
            medicine=medicine, animal=animal, group=stay.group
        )
        raise ValidationError({"medicine": words})


def check_leaflet(
    medicine: Medicine, dose: Decimal, doses: int, interval_hours: int, at: datetime
) -> None:
    """Refuse larger or more doses or shorter intervals than printed. ValidationError by field."""
    day = timezone.localdate(at)
    versions = medicine.versions.filter(struck_at=None, valid_from__lte=day)
    printed = versions.order_by("-valid_from").first()
    if printed is None:
        return
    if printed.leaflet_dose and dose > printed.leaflet_dose:
        unit = medicine.unit
        leaflet = _("at most {leaflet_dose} {unit} a dose").format(
            leaflet_dose=withdrawal.plain(printed.leaflet_dose), unit=unit
        )
        ordered = f"{withdrawal.plain(dose)} {unit}"
        words = _(OFF_LEAFLET).format(medicine=medicine, leaflet=leaflet, ordered=ordered)
        raise ValidationError({"dose": words})
    if printed.leaflet_doses and doses > printed.leaflet_doses:
        leaflet, ordered = (
            _("at most {leaflet_doses} doses").format(leaflet_doses=printed.leaflet_doses),
            _("{doses} doses").format(doses=doses),
        )
        words = _(OFF_LEAFLET).format(medicine=medicine, leaflet=leaflet, ordered=ordered)
        raise ValidationError({"doses": words})
    if doses > 1 and printed.leaflet_interval and interval_hours < printed.leaflet_interval:
        leaflet, ordered = (
            _("{leaflet_interval} h between doses").format(
                leaflet_interval=printed.leaflet_interval
            ),
            f"{interval_hours} h",
        )
        words = _(OFF_LEAFLET).format(medicine=medicine, leaflet=leaflet, ordered=ordered)
        raise ValidationError({"interval_hours": words})


def check_own(
    at: datetime,
    estate: Estate,
    leaflet: Leaflet | None,
    *,
    medicine: Medicine,
    off_leaflet: bool,
    own_milk_hours: Decimal | None,
    own_meat_days: int | None,
) -> None:
    """Refuse a period of the vet's own that is shorter than it may be.

    On the leaflet the printed period is the least, off it the floor. Raises ValidationError at
    ``own_milk_hours`` or ``own_meat_days``.
    """
    how = _("off leaflet") if off_leaflet else _("on its leaflet")
    milk = leaflet.milk_hours if leaflet and leaflet.milk == withdrawal.HOURS else None
    meat = leaflet.meat_days if leaflet else None
    if off_leaflet:
        milk = withdrawal.milk_floor(leaflet, estate, at)
        meat = withdrawal.meat_floor(leaflet, estate, at)
        if milk is None:
            day = estate.day(at).isoformat()
            raise ValidationError({"own_milk_hours": _(NO_RULE).format(day=day)})
        if own_milk_hours is None:
            words = _(OWN_PERIOD_MISSING).format(floor=withdrawal.plain(milk))
            raise ValidationError({"own_milk_hours": words})
    if milk is not None and own_milk_hours is not None and own_milk_hours < milk:
        own, floor = withdrawal.plain(own_milk_hours), withdrawal.plain(milk)
        words = _(BELOW_FLOOR).format(own=own, unit="h", medicine=medicine, how=how, floor=floor)
        raise ValidationError({"own_milk_hours": words})
    if meat is not None and own_meat_days is not None and own_meat_days < meat:
        words = _(BELOW_FLOOR).format(
            own=own_meat_days, unit=_("days"), medicine=medicine, how=how, floor=meat
        )
        raise ValidationError({"own_meat_days": words})
