"""The labels of a day's wheels: what is in their code, and what stands beside it. Reads only."""

from collections.abc import Iterable
from datetime import date

from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.errors import Conflict
from config.labels import Label
from config.language import in_estate_language
from milk import gs1
from milk.models import Product, Wheel
from milk.vat_code import vat_code

NO_ADDRESS = N_(
    "Nobody has set where the codes on labels lead. Set PUBLIC_URL in the environment to the "
    "address under which anybody can open this service, before a label is printed."
)
NO_PRODUCT = N_(
    "No product with a GTIN is in the book. Write one first; its number is in the code."
)


def product_on(day: date) -> Product:
    """The product whose row is the latest on a day. Raises Conflict when there is none."""
    rows = Product.objects.standing().filter(valid_from__lte=day).select_related("holding")
    found: Product | None = rows.order_by("-valid_from", "-id").first()
    if found is None:
        raise Conflict(_(NO_PRODUCT))
    return found


def wheels_of(day: date) -> list[Wheel]:
    """The standing wheels of a vat day, by vat and twin."""
    rows = Wheel.objects.standing().filter(vat__day=day, vat__struck_at=None)
    return list(rows.select_related("vat").order_by("vat__round", "vat__number", "twin"))


def link_of(wheel: Wheel, product: Product) -> str:
    """What the code of a wheel holds. Raises Conflict when no address is set or a sign is wrong."""
    if not settings.PUBLIC_URL:
        raise Conflict(_(NO_ADDRESS))
    try:
        return gs1.wheel_link(settings.PUBLIC_URL, product.gtin, vat_code(wheel.vat), wheel.plate)
    except ValueError as error:
        raise Conflict(str(error)) from error


@in_estate_language()
def labels_of(wheels: Iterable[Wheel], product: Product) -> list[Label]:
    """A label for every wheel. Raises Conflict as ``link_of`` does."""
    return [
        Label(
            link_of(wheel, product),
            wheel.plate,
            (
                product.name,
                _("Lot {vat_code}, twin {twin}").format(
                    vat_code=vat_code(wheel.vat), twin=wheel.twin
                ),
                _("Made {day}").format(day=wheel.vat.day.isoformat()),
                product.holding.approval or product.holding.name,
                _("Made of raw milk"),
            ),
        )
        for wheel in wheels
    ]
