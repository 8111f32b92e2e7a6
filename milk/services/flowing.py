"""What every service about milk in a tank checks, and what it does once milk has moved."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local
from config.entries import Entry, Stamp, check_not_ahead
from config.errors import Conflict
from config.jobs import ask
from config.language import in_readers_form
from milk.models import LotDraw, MilkLot, Tank
from milk.models.tanks import LONGEST_FLOW
from milk.services import timeline

ENDED_BEFORE = N_("It began at {start} and cannot have ended at {end}. Look at both times.")
LASTS_TOO_LONG = N_(
    "From {start} to {end} is more than {hours} hours. No milking and no draw lasts that long: "
    "look at the day of both times."
)
NO_WEIGHT = N_("{kg} kg is no weight of milk. Expected more than 0 kg, to the gram.")
OVER_CAPACITY = N_("{kg} kg cannot come out of {tank}: it holds {capacity} kg. Look at the kg.")
INTO_OVER_CAPACITY = N_(
    "{kg} kg do not go into {tank}: it holds {capacity} kg. Look at the kg, and at the tank."
)
NO_MILK_SO_WARM = N_(
    "{celsius} °C is no temperature of raw milk. Expected -2 to {most} °C; look at the thermometer."
)
STRUCK = N_("{thing} was struck and takes no new entries. Choose one that stands.")
NO_MILK_YET = N_(
    "At {at} the book knows no milk in {tank}{why}. Write the milking (or delivery) that filled it "
    "first, or choose the tank the milk came from."
)
WASHED_SINCE = N_(": it was washed or emptied at {washed}")

# Warmer than from the cow (about 38 °C) raw milk is nowhere before the vat (common practice).
WARMEST_MILK = Decimal(45)


def weight(kg: Decimal) -> str:
    """A weight for people: without zeros that say nothing, thousands apart."""
    text = in_readers_form(f"{kg:,.3f}").rstrip("0").rstrip(".")
    return text or "0"


def check_times(stamp: Stamp, ended_at: datetime | None) -> None:
    """Refuse an end before the start, longer than a day after it, or that has not come yet."""
    check_not_ahead(stamp.happened_at)
    if ended_at is None:
        return
    start, end = local(stamp.happened_at), local(ended_at)
    if ended_at < stamp.happened_at:
        raise ValidationError({"ended_at": _(ENDED_BEFORE).format(start=start, end=end)})
    if ended_at - stamp.happened_at > LONGEST_FLOW:
        hours = LONGEST_FLOW // timedelta(hours=1)
        words = _(LASTS_TOO_LONG).format(start=start, end=end, hours=hours)
        raise ValidationError({"ended_at": words})
    try:
        check_not_ahead(ended_at)
    except ValidationError as error:
        raise ValidationError({"ended_at": error.messages}) from error


def check_weight(kg: Decimal | None, *, field: str = "kg") -> None:
    """Refuse a weight of nothing or less; no weight at all is for the form to ask for."""
    if kg is not None and kg <= 0:
        raise ValidationError({field: _(NO_WEIGHT).format(kg=kg)})


def check_draw(tank: Tank, kg: Decimal | None, *, field: str = "kg") -> None:
    """Refuse a draw that no tank of this size can give."""
    check_stands(tank, "tank")
    check_weight(kg, field=field)
    if kg is not None and kg > tank.capacity_kg:
        words = _(OVER_CAPACITY).format(kg=weight(kg), tank=tank, capacity=weight(tank.capacity_kg))
        raise ValidationError({field: words})


def check_fits(tank: Tank, kg: Decimal, *, field: str = "kg") -> None:
    """Refuse more milk at once than a tank holds."""
    check_stands(tank, "tank")
    if kg > tank.capacity_kg:
        words = _(INTO_OVER_CAPACITY).format(
            kg=weight(kg), tank=tank, capacity=weight(tank.capacity_kg)
        )
        raise ValidationError({field: words})


def check_celsius(celsius: Decimal | None) -> None:
    """Refuse a temperature that raw milk never has; a tank is washed hotter than that."""
    if celsius is not None and celsius > WARMEST_MILK:
        raise ValidationError(
            {"temperature": _(NO_MILK_SO_WARM).format(celsius=celsius, most=WARMEST_MILK)}
        )


def check_stands(entry: Entry | None, field: str) -> None:
    """Refuse to hang something on a struck entry."""
    if entry is not None and entry.is_struck:
        raise ValidationError({field: _(STRUCK).format(thing=capfirst(str(entry)))})


def drawn_lots(column: str, entry: Entry) -> list[MilkLot]:
    """The lots that a draw took milk from, in the order in which it did."""
    draws = LotDraw.objects.filter(**{column: entry}).select_related("lot").order_by("at", "id")
    return [draw.lot for draw in draws]


def check_found_milk(column: str, entry: Any) -> list[MilkLot]:
    """The lots a draw took from. Raises Conflict when the book knows no milk in its tank then."""
    lots = drawn_lots(column, entry)
    if not lots:
        washed = timeline.last_wash(entry.tank, entry.happened_at)
        why = _(WASHED_SINCE).format(washed=local(washed)) if washed else ""
        raise Conflict(_(NO_MILK_YET).format(at=local(entry.happened_at), tank=entry.tank, why=why))
    return lots


def milk_moved() -> None:
    """Ask for the jobs that look at lots again, once everything is written."""
    ask("milk.tasks.flag_withheld_milk")


def tanks_of(*entries: Any) -> set[Tank]:
    """The tanks that entries take milk from or bring it to."""
    named: Iterable[Tank | None] = (
        tank for entry in entries for tank in (entry.tank, getattr(entry, "to_tank", None))
    )
    return {tank for tank in named if tank is not None}
