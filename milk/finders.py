"""What the search finds of the milk: wheels by plate, vats by number, lots by code, tanks."""

from collections.abc import Iterator

from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.urls import reverse
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.find import register
from config.language import without_noun
from milk.models import MilkLot, Tank, Vat, Wheel

MOST = 8


def wheels(text: str) -> Iterator[tuple[str, str]]:
    """Standing wheels whose plate begins with the text."""
    plate = without_noun(without_noun(text, N_("wheel")), N_("plate")).lower()
    rows = Wheel.objects.standing().filter(plate__startswith=plate).order_by("plate")
    for wheel in rows[:MOST] if plate else ():
        yield _("{wheel} of {vat}").format(wheel=wheel, vat=wheel.vat), wheel.get_absolute_url()


def vats(text: str) -> Iterator[tuple[str, str]]:
    """The vat “2026-06-09/17”."""
    try:
        vat = Vat.find(text)
    except (ObjectDoesNotExist, ValueError, OverflowError, ValidationError):
        return
    yield capfirst(str(vat)), vat.get_absolute_url()


def lots(text: str) -> Iterator[tuple[str, str]]:
    """Lots whose code begins with the text, the latest first."""
    code = without_noun(text, N_("lot")).upper()
    rows = MilkLot.objects.filter(code__startswith=code).order_by("-code")
    for lot in rows[:MOST] if code else ():
        yield (
            _("Lot {lot}").format(lot=lot) + (_(" (void)") if lot.void else ""),
            lot.get_absolute_url(),
        )


def tanks(text: str) -> Iterator[tuple[str, str]]:
    """The tank of that name."""
    try:
        tank = Tank.find(text)
    except ObjectDoesNotExist:
        return
    yield capfirst(str(tank)), reverse("milk:tanks")


register(N_("Wheels"), wheels)
register(N_("Vats"), vats)
register(N_("Milk lots"), lots)
register(N_("Tanks"), tanks)
