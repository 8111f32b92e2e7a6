"""What the dairy keeps and can compute again, held against the entries."""

from django.utils.translation import gettext_noop as N_

from config.verifying import register, same_again
from milk.models import LotDraw, LotParent, MilkingPart, MilkLot, VatLot, WheelPlace
from milk.services import lots, wheel_places

LOTS = (MilkLot, MilkingPart, LotParent, LotDraw, VatLot)


def lots_again() -> list[str]:
    """The lots, what is in them, and what of them is in which vat."""
    return same_again([model._meta.db_table for model in LOTS], lots.rebuild_all)


def places_again() -> list[str]:
    """Where every wheel lies."""
    return same_again([WheelPlace._meta.db_table], wheel_places.rebuild_all)


register(N_("milk lots and vats"), lots_again)
register(N_("where wheels lie"), places_again)
