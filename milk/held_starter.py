"""Whey starter that is held: by itself, or because the vat it came of is."""

from datetime import datetime, timedelta

from config.errors import Conflict
from milk.held import HeldBy, as_held, held_words, once, open_holds
from milk.models import Hold, StarterCan

USE_ANOTHER = " Use {cans}."
NO_OTHER = " No other can of these days is free."
# Whey is kept for the next day; an older can is no starter.
KEPT_FOR = timedelta(days=2)


def holds_of(cans: list[StarterCan]) -> dict[int, list[HeldBy]]:
    """By can (key), the holds that keep it back; free ones have no key. A few statements."""
    of_vats = open_holds(vat_ids={can.from_vat_id for can in cans})
    named = Hold.objects.refusing().filter(starter_can__in=cans)
    by_name: dict[int, list[HeldBy]] = {}
    for hold in named.select_related("by", "tank", "lot", "vat", "wheel", "starter_can"):
        by_name.setdefault(hold.starter_can_id, []).append(as_held(hold, ""))
    found = {}
    for can in cans:
        through = [
            as_held(held.hold, ", ".join(filter(None, (f"whey of {can.from_vat}", held.through))))
            for held in of_vats.get(("vat", can.from_vat_id), [])
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
        words = held_words(f"{str(can).capitalize()}: held whey, it", "be used", known[0])
        raise Conflict(words + others_said(can, at))


def others_said(can: StarterCan, at: datetime) -> str:
    """The cans of these days that may be used instead, as a sentence."""
    free = free_cans(at, besides=can)
    return USE_ANOTHER.format(cans=" or ".join(map(str, free))) if free else NO_OTHER


def free_cans(at: datetime, besides: StarterCan | None = None) -> list[StarterCan]:
    """The cans filled in the days before ``at`` that nothing keeps back."""
    lately = StarterCan.objects.standing().filter(
        happened_at__gt=at - KEPT_FOR, happened_at__lte=at
    )
    if besides is not None:
        lately = lately.exclude(pk=besides.pk)
    cans = list(lately.select_related("from_vat").order_by("happened_at", "id"))
    held = holds_of(cans)
    return [can for can in cans if can.pk not in held]
