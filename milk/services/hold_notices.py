"""Holds that stand still, and holds the owner is told about; each goes when its cause does."""

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.language import in_estate_language, in_readers_form
from config.notices import close_gone, raise_notice
from config.roles import OWNER
from milk.figures import figures_on
from milk.hold_cost import Cost, cost_of
from milk.models import Hold, HoldDecision, HoldStep, MilkFigure
from milk.services.holds import NOTIFIED, held_lots, where_of

STILL = N_("Nothing was done for {hours} h about a hold: {words}")
STILL_OTHERWISE = N_("The milk grows old and the wheels stand. Write the next step, or decide.")
DEAR = N_("A hold costs {amount} {currency}: {words}")
AUTHORITY = N_("The authority was asked or told about a hold: {words}")
OWNER_OTHERWISE = N_("The vet and the cheesemaker decide; this is for you to know.")
What = MilkFigure.What


def look_at_holds(*, at: datetime) -> dict[str, int]:
    """Ring for open holds without a step for too long, and tell the owner of dear ones."""
    figures = figures_on(timezone.localdate(at))
    open_ = list(Hold.objects.open().select_related("tank", "lot", "vat", "wheel", "starter_can"))
    still = ring_for_still(open_, figures, at)
    told = tell_owner(open_, figures, at)
    return {"open": len(open_), "still": still, "told": told}


@in_estate_language()
def ring_for_still(open_: list[Any], figures: dict[str, MilkFigure], at: datetime) -> int:
    """One notice for each open hold about which nobody did anything for so many hours."""
    longest = figures.get(What.HOLD_STEP)
    causes: set[str] = set()
    last = last_steps(open_)
    for hold in open_ if longest is not None else ():
        since = last[hold.pk]
        if longest is None or at - since < timedelta(hours=float(longest.value)):
            continue
        cause = f"hold-still:{hold.uuid}"
        causes.add(cause)
        for role in NOTIFIED:
            raise_notice(
                cause=cause,
                role=role,
                what=_(STILL).format(
                    hours=int((at - since).total_seconds() // 3600), words=hold.words
                ),
                where=where_of(hold, held_lots(hold, at))[:200],
                otherwise=_(STILL_OTHERWISE),
                url=f"/milk/holds/{hold.uuid}/",
            )
    close_gone("hold-still:", still=causes, at=at)
    return len(causes)


def last_steps(holds: list[Any]) -> dict[int, datetime]:
    """By hold (key), when something was last done about it; when it was written, at first."""
    found: dict[int, datetime] = {hold.pk: hold.happened_at for hold in holds}
    for model in (HoldStep, HoldDecision):
        rows = model.objects.standing().filter(hold__in=holds).order_by()
        for hold, moment in rows.values_list("hold").annotate(last=Max("happened_at")):
            found[hold] = max(found[hold], moment)
    return found


@in_estate_language()
def tell_owner(open_: list[Any], figures: dict[str, MilkFigure], at: datetime) -> int:
    """One message for each hold that costs more than so much, or about which the authority knows.

    By day only: at night the owner can do nothing about it. A message once written stays until the
    hold is decided.
    """
    asked = set(
        HoldStep.objects.standing()
        .filter(hold__in=open_, what=HoldStep.What.AUTHORITY)
        .values_list("hold", flat=True)
    )
    dear = figures.get(What.OWNER_FROM)
    told = {f"hold-owner:{hold.uuid}" for hold in open_}
    number = 0
    for hold in open_ if by_day(figures, at) else ():
        cost = cost_of(hold, at)
        words = words_for_owner(hold, cost, dear.value if dear else None, hold.pk in asked)
        if words:
            number += 1
            raise_notice(
                cause=f"hold-owner:{hold.uuid}",
                role=OWNER,
                what=words,
                where=where_of(hold, held_lots(hold, at))[:200],
                otherwise=_(OWNER_OTHERWISE),
                url=f"/milk/holds/{hold.uuid}/",
            )
    close_gone("hold-owner:", still=told, at=at)
    return number


def words_for_owner(hold: Any, cost: Cost, dear: Decimal | None, asked: bool) -> str:
    """What the owner is told about a hold; empty when nothing."""
    said = []
    if dear is not None and cost.amount is not None and cost.amount > dear:
        amount = in_readers_form(f"{cost.amount:,.0f}")
        said.append(_(DEAR).format(amount=amount, currency=cost.currency, words=hold.words))
    if asked:
        said.append(_(AUTHORITY).format(words=hold.words))
    return ". ".join(said)


def by_day(figures: dict[str, MilkFigure], at: datetime) -> bool:
    """Whether the owner may be told at this hour; at any when nobody set the hours."""
    first, last = figures.get(What.OWNER_DAY_FROM), figures.get(What.OWNER_DAY_UNTIL)
    here = timezone.localtime(at)
    hour = Decimal(here.hour) + Decimal(here.minute) / 60
    return (first is None or hour >= first.value) and (last is None or hour < last.value)
