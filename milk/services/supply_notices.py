"""Rings for what the hall runs out of: plates to be ordered, and rennet past its date."""

from datetime import datetime

from django.urls import reverse

from config.days import local_day
from config.notices import close_gone, raise_notice
from config.roles import CHEESEMAKER, OFFICE
from milk.limits import plain
from milk.plate_stock import plate_stock
from milk.starter_and_rennet import rennet

PLATES = "{left} plates left; order at {low}. Next: {next}"
PLATES_ELSE = "Without a plate a wheel has no number, and nobody can sell it."
PAST = "Rennet {code} was best before {day}, and {left} g are left by the book"
PAST_ELSE = "It clots slower than its label says; the vats become slow, and nobody sees why."


def look_at_supplies(*, at: datetime) -> dict[str, int]:
    """Ring, or stop ringing, for what is to be ordered or thrown away; how many of each."""
    return {"plates": ring_for_plates(at), "rennet": ring_for_rennet(at)}


def ring_for_plates(at: datetime) -> int:
    """One notice while so few plates are left that the row says to order."""
    stock = plate_stock(at)
    still = {"plates-low"} if stock.is_low else set()
    for role in (CHEESEMAKER, OFFICE) if still else ():
        assert stock.low is not None
        raise_notice(
            cause="plates-low",
            role=role,
            what=PLATES.format(
                left=f"{stock.left:,}",
                low=plain(stock.low),
                next=stock.next or "none",
            ),
            where="dairy hall",
            otherwise=PLATES_ELSE,
            url=reverse("milk:plates"),
        )
    close_gone("plates-low", still=still, at=at)
    return len(still)


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
            what=PAST.format(code=one.code, day=one.batch.best_before, left=plain(one.left)),
            where="dairy hall",
            otherwise=PAST_ELSE,
            url=reverse("milk:starter"),
        )
    close_gone("rennet-past:", still=past, at=at)
    return len(past)
