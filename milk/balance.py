"""What a lot is made of and where it went: kg in, used, passed on and left."""

from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from milk.models import LotDraw, LotParent, MilkingPart, MilkLot

CREAM_OR_MOVED = N_("another use")


@dataclass(frozen=True)
class Part:
    """Some kg in a lot or out of it: what it is called, its page, its share of the whole in %."""

    name: str
    url: str
    kg: Decimal
    share: Decimal


@dataclass(frozen=True, kw_only=True)
class Balance:
    """kg that came in, were drawn, were passed on to the lot after it, and are left in the tank."""

    own: Decimal
    carried: Decimal
    used: Decimal
    passed_on: Decimal
    left: Decimal

    @property
    def came_in(self) -> Decimal:
        return self.own + self.carried


def share_of(kg: Decimal, whole: Decimal) -> Decimal:
    """A part in per cent of the whole, to one place; 0 for an empty whole."""
    return round(kg / whole * 100, 1) if whole else Decimal(0)


def balance_of(lot: MilkLot, at_rest: bool) -> Balance:
    """The balance of a lot. ``at_rest``: nothing of it is in the tank any more."""
    passed_on = sum((edge.kg for edge in lot.left_to.all()), Decimal(0))
    left = lot.kg + lot.carried_kg - lot.drawn_kg - passed_on
    return Balance(
        own=lot.kg,
        carried=lot.carried_kg,
        used=lot.drawn_kg,
        passed_on=passed_on,
        left=Decimal(0) if at_rest and abs(left) < 1 else left,
    )


def came_from(lot: MilkLot) -> list[Part]:
    """Groups, the supplier, and lots carried over, with their kg and share of the mixture."""
    whole = lot.kg + lot.carried_kg
    by_group: dict[tuple[int, str], Decimal] = defaultdict(Decimal)
    milkings = MilkingPart.objects.filter(lot=lot, milking__struck_at=None)
    for part in milkings.select_related("milking__group"):
        group = part.milking.group
        by_group[group.number, address(group)] += part.kg
    parts = [
        Part(_("group {number}").format(number=number), url, kg, share_of(kg, whole))
        for (number, url), kg in sorted(by_group.items())
    ]
    if lot.delivery is not None:
        parts.append(Part(str(lot.delivery.holding), "", lot.kg, share_of(lot.kg, whole)))
    edges = LotParent.objects.filter(lot=lot).select_related("parent").order_by("parent__opened_at")
    for edge in edges:
        parent = edge.parent
        name = _("carried over from lot {parent}").format(parent=parent)
        parts.append(Part(name, address(parent), edge.kg, share_of(edge.kg, whole)))
    return parts


def went_to(lot: MilkLot) -> list[Part]:
    """Vats, trays, deliveries, other draws and the lots after it, in order of time."""
    whole = lot.kg + lot.carried_kg
    draws = LotDraw.objects.filter(lot=lot).select_related(
        "vat_fill__vat", "tray", "tank_event__to_tank", "delivery__holding"
    )
    parts = []
    for draw in draws.order_by("at", "id"):
        name, url = draw_said(draw)
        parts.append(Part(name, url, draw.kg, share_of(draw.kg, whole)))
    edges = LotParent.objects.filter(parent=lot).select_related("lot").order_by("lot__opened_at")
    for edge in edges:
        name = _("carried over into lot {lot}").format(lot=edge.lot)
        parts.append(Part(name, address(edge.lot), edge.kg, share_of(edge.kg, whole)))
    return parts


def draw_said(draw: LotDraw) -> tuple[str, str]:
    """What a draw was for, and the page of where it went."""
    if draw.vat_fill is not None:
        return str(draw.vat_fill.vat), address(draw.vat_fill.vat)
    if draw.tray is not None:
        return str(draw.tray), address(draw.tray)
    if draw.delivery is not None:
        return _("delivered to {holding}").format(holding=draw.delivery.holding), ""
    if draw.tank_event is not None:
        event = draw.tank_event
        to = f" ({event.to_tank})" if event.to_tank else ""
        return f"{event.get_what_display()}{to}", ""
    return _(CREAM_OR_MOVED), ""


def address(thing: object) -> str:
    """The page of a thing; "" when it has none of its own."""
    found = getattr(thing, "get_absolute_url", None)
    return str(found()) if found else ""
