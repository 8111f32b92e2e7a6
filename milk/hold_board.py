"""What people who decide about a hold need to see at once: where it is, its cost, who signs."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from herd.withheld import answer_for
from milk.below import still_catchable
from milk.evidence import UNKNOWN_COW, actives_of, button_of, methods_in_book, missing
from milk.hold_cost import Cost, cost_of
from milk.minutes_left import Stop, stops_of
from milk.models import Hold, HoldStep, InhibitorTest, WrongCow
from milk.services.holds import held_lots
from milk.services.wrong_cow import share_of

NEVER_KNOWN = N_("nobody knows when she is free")
LEFT = N_("{hours} h left")


@dataclass(kw_only=True)
class Mistake:
    """The wrong cow of a hold: her part of the tank, what she was given, how long it lasts."""

    wrong: WrongCow
    share: Any
    products: list[str]
    left: str


@dataclass(kw_only=True)
class Board:
    """A hold at a moment. ``missing``: what a release still lacks, besides two people."""

    stops: list[Stop]
    cost: Cost
    missing: list[str]
    steps: list[HoldStep]
    actives: list[str] = field(default_factory=list)
    methods: list[tuple[InhibitorTest, bool]] = field(default_factory=list)
    mistake: Mistake | None = None


def board_of(hold: Hold, at: datetime) -> Board:
    """Everything about an open hold; a few statements for each part."""
    lots = held_lots(hold, at)
    actives = sorted(actives_of(hold, lots))
    wrong = button_of(hold)
    if wrong is not None and wrong.animal is None:
        actives = []
    return Board(
        stops=stops_of(still_catchable(lots, at), at),
        cost=cost_of(hold, at),
        missing=missing(hold, lots),
        steps=list(
            HoldStep.objects.filter(hold=hold)
            .select_related("by", "struck_by")
            .order_by("happened_at", "id")
        ),
        actives=actives,
        methods=methods_for(actives),
        mistake=mistake_of(wrong, at) if wrong is not None else None,
    )


def methods_for(actives: list[str]) -> list[tuple[InhibitorTest, bool]]:
    """The newest list of every method, and whether it covers all of the substances."""
    if not actives:
        return []
    newest = {method.name: method for method in methods_in_book()}
    return [(method, set(actives) <= method.actives) for _, method in sorted(newest.items())]


def mistake_of(wrong: WrongCow, at: datetime) -> Mistake:
    """What is known of a cow milked into a tank."""
    if wrong.animal is None:
        return Mistake(
            wrong=wrong, share=share_of(wrong.kg, wrong.tank_kg), products=[_(UNKNOWN_COW)], left=""
        )
    then = answer_for(wrong.animal, wrong.happened_at)
    return Mistake(
        wrong=wrong,
        share=share_of(wrong.kg, wrong.tank_kg),
        products=list(then.why) if then is not None else [],
        left=left_said(then.until if then is not None else None, then, wrong.happened_at),
    )


def left_said(until: datetime | None, then: Any, at: datetime) -> str:
    """How long she was still kept out when she was milked, in whole hours begun."""
    if then is None or not then.withheld:
        return ""
    if until is None:
        return _(NEVER_KNOWN)
    seconds = (until - at).total_seconds()
    return _(LEFT).format(hours=int(-(-seconds // 3600)))
