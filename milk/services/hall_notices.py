"""What rings in the dairy hall: slow vats of one lot, the day's fat to casein, held starter.

Each closes by itself when the entries say that its cause is gone.
"""

from collections import defaultdict
from collections.abc import Mapping
from datetime import datetime, timedelta
from decimal import Decimal

from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local_day
from config.language import in_estate_language
from config.notices import close_gone, raise_notice
from config.roles import CHEESEMAKER, VET
from milk.clotting import clots_of
from milk.day_make import DayMake, day_make
from milk.held_starter import cans_of, holds_of, others_said
from milk.limits import plain
from milk.models import MilkLot, Recipe, StarterCan, Vat, VatLot, VatMark
from milk.recipes import pick, recipes_on

# Slow vats of the same lot mean something while its milk or cheese can still be looked at.
LOOKED_AT = timedelta(days=2)
# One slow vat may be the hand; two of one lot are the milk (common practice).
FROM = 2
SLOW = N_("{vats}: slow or sour otherwise than usual, all with milk of lot {lot}")
SLOW_ELSE = N_(
    "Ask for residues and phage: have the lot's inhibitor test looked at, and take another culture."
)
RATIO = N_("Fat to casein of the day heads for {forecast}, at most {most}: skim more. {words}")
RATIO_ELSE = N_("When the last vat is full nothing can change the day's mean any more.")
STARTER = N_("{can} contains held whey ({why}).{others}")
STARTER_ELSE = N_("A vat begun with it is in doubt as well, and its wheels with it.")


def look_at_vats(at: datetime) -> dict[str, int]:
    """Ring, or stop ringing, for what the vats and cans say at a moment; how many of each."""
    return {
        "lots with slow vats": ring_for_slow(at),
        "days over": ring_for_ratio(at),
        "cans held": ring_for_starter(at),
    }


@in_estate_language()
def ring_for_slow(at: datetime) -> int:
    """One notice for each lot of which two vats or more clotted slowly, or soured wrongly."""
    odd = odd_vats(at)
    by_lot: dict[int, list[Vat]] = defaultdict(list)
    for row in VatLot.objects.filter(vat_id__in=sorted(odd)).order_by("vat_id"):
        by_lot[row.lot_id].append(odd[row.vat_id])
    lots = MilkLot.objects.in_bulk([lot for lot, vats in by_lot.items() if len(vats) >= FROM])
    still = {}
    for number, lot in lots.items():
        cause = f"slow-vats:{lot.uuid}"
        still[cause] = lot
        vats = ", ".join(str(vat) for vat in by_lot[number])
        for role in (CHEESEMAKER, VET):
            raise_notice(
                cause=cause,
                role=role,
                what=_(SLOW).format(vats=vats, lot=lot),
                where=_("lot {lot}").format(lot=lot)[:200],
                otherwise=_(SLOW_ELSE),
                url=lot.get_absolute_url(),
            )
    close_gone("slow-vats:", still=still, at=at)
    return len(lots)


def odd_vats(at: datetime) -> dict[int, Vat]:
    """By key, the vats of the last days that were slow, or outside the acidity of their recipe."""
    vats = Vat.objects.standing().filter(happened_at__gt=at - LOOKED_AT, happened_at__lte=at)
    found: dict[int, Vat] = vats.in_bulk()
    clots = clots_of(found.values())
    slow = {number for number, clot in clots.items() if clot.is_slow}
    return {number: found[number] for number in slow | sour_otherwise(found)}


def sour_otherwise(vats: Mapping[int, Vat]) -> set[int]:
    """The vats (keys) whose latest acidity is outside their recipe; without a band none."""
    if not vats:
        return set()
    rows = recipes_on(max(vat.day for vat in vats.values()))
    latest: dict[int, Decimal | None] = {}
    marks = VatMark.objects.standing().filter(what=VatMark.What.ACID, vat_id__in=sorted(vats))
    for vat, acidity in marks.order_by("happened_at", "id").values_list("vat_id", "acidity"):
        latest[vat] = acidity
    return {
        number
        for number, acidity in latest.items()
        if outside(acidity, pick(rows, vats[number].recipe, vats[number].day))
    }


def outside(acidity: Decimal | None, recipe: Recipe | None) -> bool:
    """Whether an acidity is outside what a recipe allows after two hours."""
    if acidity is None or recipe is None:
        return False
    low = recipe.acid_least is not None and acidity < recipe.acid_least
    return low or (recipe.acid_most is not None and acidity > recipe.acid_most)


@in_estate_language()
def ring_for_ratio(at: datetime) -> int:
    """One notice while the day heads over its fat to casein and can still be mended."""
    day = local_day(at)
    made = day_make(day, at)
    still = {f"fat-casein:{day}": made} if made.is_told else {}
    for cause, one in still.items():
        raise_notice(
            cause=cause,
            role=CHEESEMAKER,
            what=ratio_words(one),
            where=_("vats of {day}").format(day=day),
            otherwise=_(RATIO_ELSE),
            url="/milk/pour/",
        )
    close_gone("fat-casein:", still=still, at=at)
    return len(still)


def ratio_words(made: DayMake) -> str:
    assert made.forecast is not None
    assert made.most is not None
    return _(RATIO).format(
        forecast=plain(made.forecast, 3), most=plain(made.most), words=made.words
    )


@in_estate_language()
def ring_for_starter(at: datetime) -> int:
    """One notice for each can of these days that holds held whey, with the cans to use instead."""
    cans: list[StarterCan] = list(cans_of(at).select_related("from_vat").order_by("id"))
    held = holds_of(cans)
    still = set()
    for can in cans:
        if can.pk not in held:
            continue
        first = held[can.pk][0]
        cause = f"held-starter:{can.uuid}"
        still.add(cause)
        why = ", ".join(filter(None, (first.through, first.hold.words)))
        raise_notice(
            cause=cause,
            role=CHEESEMAKER,
            what=_(STARTER).format(can=capfirst(str(can)), why=why, others=others_said(can, at)),
            where=str(can),
            otherwise=_(STARTER_ELSE),
            url=f"/entries/starter-cans/{can.uuid}/",
        )
    close_gone("held-starter:", still=still, at=at)
    return len(still)
