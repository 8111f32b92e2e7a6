"""Dry-cow tubes on the shelf's leaflets, and whether one fits the days a cow will be dry."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from herd.breeding import DryOffPlan
from herd.models import MedicineVersion

FITS = N_("{product} fits")
SHORT = N_("{product}: {days} days short of the margin, another tube or seal only")
NO_TUBE = N_("no dry-cow leaflet in the book")


@dataclass(frozen=True, slots=True)
class DryTube:
    """A dry-cow product and the days dry its leaflet asks for."""

    medicine_id: int
    name: str
    dry_days: int


def dry_tubes(day: date) -> list[DryTube]:
    """The dry-cow products whose leaflet is in force on a day, the shortest first."""
    newest = (
        MedicineVersion.objects.standing()
        .filter(valid_from__lte=day, medicine__struck_at=None)
        .order_by("medicine", "-valid_from")
        .distinct("medicine")
        .values_list("medicine_id", "medicine__name", "milk", "dry_days")
    )
    found = [
        DryTube(number, name, days)
        for number, name, milk, days in newest
        if milk == MedicineVersion.Milk.DRY and days is not None
    ]
    return sorted(found, key=lambda tube: (tube.dry_days, tube.name))


def fits(plan: DryOffPlan, tubes: Sequence[DryTube], margin: int) -> str:
    """What each tube's minimum means for this dry period, in words."""
    words = []
    for tube in tubes:
        short = plan.short_of(tube.dry_days, margin)
        shape = _(SHORT) if short else _(FITS)
        words.append(shape.format(product=tube.name, days=short))
    return "; ".join(words) or _(NO_TUBE)
