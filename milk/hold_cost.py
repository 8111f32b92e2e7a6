"""What a hold costs by the prices of its day: milk that is still milk, and wheels."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Sum
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.language import in_readers_form
from herd.period_rules import StandingRule
from herd.rules_in_force import MILK_PRICE, WHEEL_PRICE, rows_in_force
from milk.below import Catchable, below, still_catchable
from milk.evidence import button_of
from milk.held_together import HeldTogether
from milk.models import Hold, VatLot
from milk.services.holds import held_lots, started_with

# What prices are of, as the rows in force say it.
UNITS = (N_("EUR/kg"), N_("EUR/wheel"))
NO_PRICE = N_("no price of {what} is in the book for that day")


@dataclass(frozen=True, kw_only=True)
class Cost:
    """``milk_kg`` that are still milk or no wheels yet, ``wheels``, and what they are worth.

    ``amount`` None when a price that is needed is missing; ``said`` tells how it was worked out.
    """

    milk_kg: Decimal
    wheels: int
    amount: Decimal | None
    currency: str
    said: str


def worth(milk_kg: Decimal, wheels: int, day: date) -> Cost:
    """What so much milk and so many wheels are worth by the prices of a day."""
    return priced(milk_kg, wheels, prices_on(day))


def prices_on(day: date) -> dict[str, StandingRule]:
    """The prices of milk and of a wheel in force on a day, by name."""
    return rows_in_force((MILK_PRICE, WHEEL_PRICE), day)


def priced(milk_kg: Decimal, wheels: int, prices: Mapping[str, StandingRule]) -> Cost:
    """What so much milk and so many wheels are worth by some prices."""
    parts: list[str] = []
    amount: Decimal | None = Decimal(0)
    currency = ""
    for number, what, name in (
        (milk_kg, MILK_PRICE, "kg"),
        (Decimal(wheels), WHEEL_PRICE, "wheels"),
    ):
        if not number:
            continue
        price = prices.get(what)
        if price is None:
            amount = None
            parts.append(_(NO_PRICE).format(what=_("milk") if name == "kg" else _("a wheel")))
            continue
        currency = price.unit.partition("/")[0]
        if amount is not None:
            amount += number * price.value
        parts.append(
            _("{number} {name} at {price} {unit}").format(
                number=in_readers_form(f"{number:,.0f}"),
                name=_(name),
                price=in_readers_form(f"{price.value.normalize():f}"),
                unit=_(price.unit),
            )
        )
    return Cost(
        milk_kg=milk_kg,
        wheels=wheels,
        amount=None if amount is None else amount.quantize(Decimal("0.01")),
        currency=currency,
        said=", ".join(parts),
    )


def cost_of(hold: Hold, at: datetime) -> Cost:
    """What everything a hold keeps back is worth, by the prices of the day of ``at``."""
    lots = held_lots(hold, at)
    can = started_with(hold.starter_can) if hold.starter_can else []
    under = below(
        lots,
        vat_ids=[hold.vat_id] if hold.vat_id else can,
        wheel_ids=[hold.wheel_id] if hold.wheel_id else (),
    )
    made = {wheel.vat_id for wheel in under.wheels}
    in_vats = {vat.pk for vat, _ in under.vats} - made
    milk = still_milk(hold, still_catchable(lots, at))
    filled = VatLot.objects.filter(vat_id__in=in_vats).aggregate(kg=Sum("kg"))["kg"]
    return worth(milk + (filled or Decimal(0)), len(under.wheels), timezone.localdate(at))


def cost_together(holds: Sequence[Hold], at: datetime) -> Cost:
    """What everything these holds keep back is worth, what several name counted once.

    The same statements for one hold and for many.
    """
    kept = HeldTogether(holds, at).of(holds)
    return worth(kept.milk_kg, kept.wheels, timezone.localdate(at))


def costs_of(holds: Sequence[Hold], at: datetime) -> list[Cost]:
    """What each of these holds keeps back is worth; the same statements however many they are."""
    together, prices = HeldTogether(holds, at), prices_on(timezone.localdate(at))
    kept = [together.of([hold]) for hold in holds]
    return [priced(one.milk_kg, one.wheels, prices) for one in kept]


def still_milk(hold: Hold, found: Catchable) -> Decimal:
    """kg in tanks and trays; while the milking is on, what somebody read in the tank counts."""
    kg: Decimal = sum((kg for _, kg in (*found.tanks, *found.trays)), Decimal(0))
    wrong = button_of(hold)
    if wrong is not None and wrong.tank_kg is not None and not found:
        read: Decimal = wrong.tank_kg
        return max(kg, read)
    return kg
