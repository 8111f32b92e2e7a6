"""Whey starter that is held: by itself, or because the vat it came of is."""

from datetime import datetime, timedelta
from typing import Any

from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.errors import Conflict
from milk.figures import value_on
from milk.held import HeldBy, as_held, held_words, once, open_holds
from milk.models import Hold, MilkFigure, StarterCan
from milk.whey import vats_in, vats_named

USE_ANOTHER = N_(" Use {cans}.")
NO_OTHER = N_(" No other can of these days is free.")
# Whey is kept for the next day; where no row says how long, older cans than these are not offered.
KEPT_FOR = timedelta(days=2)


def holds_of(cans: list[StarterCan]) -> dict[int, list[HeldBy]]:
    """By can (key), the holds that keep it back; free ones have no key. A few statements."""
    whey = vats_in(cans)
    vats = vats_named({vat for several in whey.values() for vat in several})
    of_vats = open_holds(vat_ids=vats)
    named = Hold.objects.refusing().filter(starter_can__in=cans)
    by_name: dict[int, list[HeldBy]] = {}
    for hold in named.select_related("by", "tank", "lot", "vat", "wheel", "starter_can"):
        by_name.setdefault(hold.starter_can_id, []).append(as_held(hold, ""))
    found = {}
    for can in cans:
        through = [
            as_held(
                held.hold,
                ", ".join(filter(None, (_("whey of {vat}").format(vat=vats[vat]), held.through))),
            )
            for vat in whey[can.pk]
            for held in of_vats.get(("vat", vat), [])
        ]
        found[can.pk] = once([*by_name.get(can.pk, []), *through])
    return {number: held for number, held in found.items() if held}


def check_may_start(can: StarterCan | None, at: datetime) -> None:
    """Refuse starter that was held, as far as it was known at ``at``, and name the free cans.

    Raises Conflict.
    """
    if can is None:
        return
    held = holds_of([can]).get(can.pk, [])
    known = [one for one in held if one.hold.received_at <= at]
    if known:
        words = held_words(
            _("{can}: held whey, it").format(can=capfirst(str(can))), _("be used"), known[0]
        )
        raise Conflict(words + others_said(can, at))


def others_said(can: StarterCan, at: datetime) -> str:
    """The cans of these days that may be used instead, as a sentence."""
    free = free_cans(at, besides=can)
    return _(USE_ANOTHER).format(cans=_(" or ").join(map(str, free))) if free else _(NO_OTHER)


def cans_of(at: datetime) -> Any:
    """The standing cans of whey that may still be used at a moment."""
    hours = value_on(at.date(), MilkFigure.What.KEPT_STARTER)
    kept = KEPT_FOR if hours is None else timedelta(hours=float(hours))
    return StarterCan.objects.standing().filter(happened_at__gt=at - kept, happened_at__lte=at)


def free_cans(at: datetime, besides: StarterCan | None = None) -> list[StarterCan]:
    """The cans filled in the days before ``at`` that nothing keeps back."""
    lately = cans_of(at)
    if besides is not None:
        lately = lately.exclude(pk=besides.pk)
    cans = list(lately.select_related("from_vat").order_by("happened_at", "id"))
    held = holds_of(cans)
    return [can for can in cans if can.pk not in held]
