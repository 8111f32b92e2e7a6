"""Rings for what the hall runs out of: plates to be ordered, and rennet past its date."""

from datetime import datetime

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local_day
from config.language import in_estate_language, in_readers_form
from config.notices import close_gone, raise_notice
from config.roles import CHEESEMAKER, OFFICE
from milk.limits import plain
from milk.plate_stock import plate_stock
from milk.starter_and_rennet import rennet

PLATES = N_("{left} plates left; order at {low}. Next: {next}")
PLATES_ELSE = N_("Without a plate a wheel has no number, and nobody can sell it.")
PAST = N_("Rennet {code} was best before {day}, and {left} g are left by the book")
PAST_ELSE = N_("It clots slower than its label says; the vats become slow, and nobody sees why.")


def look_at_supplies(*, at: datetime) -> dict[str, int]:
    """Ring, or stop ringing, for what is to be ordered or thrown away; how many of each."""
    return {"plates": ring_for_plates(at), "rennet": ring_for_rennet(at)}


@in_estate_language()
def ring_for_plates(at: datetime) -> int:
    """One notice while so few plates are left that the row says to order."""
    stock = plate_stock(at)
    still = {"plates-low"} if stock.is_low else set()
    for role in (CHEESEMAKER, OFFICE) if still else ():
        assert stock.low is not None
        raise_notice(
            cause="plates-low",
            role=role,
            what=_(PLATES).format(
                left=in_readers_form(f"{stock.left:,}"),
                low=plain(stock.low),
                next=stock.next or _("none"),
            ),
            where=_("dairy hall"),
            otherwise=_(PLATES_ELSE),
            url=reverse("milk:plates"),
        )
    close_gone("plates-low", still=still, at=at)
    return len(still)


@in_estate_language()
def ring_for_rennet(at: datetime) -> int:
    """A notice for each batch past its date of which something is left and nobody finished it."""
    today = local_day(at)
    past = {
        f"rennet-past:{one.batch.uuid}": one
        for one in rennet(at)
        if one.batch is not None
        and one.batch.best_before is not None
        and one.batch.best_before < today
        and one.finished is None
        and one.left
        and one.left > 0
    }
    for cause, one in past.items():
        assert one.batch is not None
        assert one.left is not None
        raise_notice(
            cause=cause,
            role=CHEESEMAKER,
            what=_(PAST).format(code=one.code, day=one.batch.best_before, left=plain(one.left)),
            where=_("dairy hall"),
            otherwise=_(PAST_ELSE),
            url=reverse("milk:starter"),
        )
    close_gone("rennet-past:", still=past, at=at)
    return len(past)
