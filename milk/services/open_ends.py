"""Asks for the end of a filling when milk began to come into its tank and nobody wrote it.

Until it is written the vat has both lots, the later one with 0 kg: not knowing is in.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Prefetch, Q
from django.urls import reverse
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local
from config.entries import Entry
from config.language import in_estate_language
from config.models import Notice
from config.notices import close_gone, raise_notice
from config.roles import CHEESEMAKER
from milk.figures import longest_draws
from milk.models import Delivery, LotDraw, Tank, Tray, VatFill

PREFIX = "end-of-draw:"
DRAWS: tuple[tuple[str, type[Entry]], ...] = (
    ("vat-fills", VatFill),
    ("trays", Tray),
    ("deliveries", Delivery),
)
ASK = N_(
    "When did it end? {what}, begun at {at}, has no end, and lot {lot} began to come into {tank} "
    "at {opened}."
)
OTHERWISE = N_("Until the end is written both lots are in it: held, traced and recalled with it.")


def ask_for_ends(tanks: Iterable[Tank], since: datetime, until: datetime) -> int:
    """Raise the questions that draws of these tanks give cause for, and close those answered.

    ``since``, ``until``: what changed; earlier draws that may have gone on until then count too.
    Returns the number that are open.
    """
    earliest = since - longest_draws().most
    within = Q(tank__in=list(tanks), happened_at__gte=earliest, happened_at__lte=until)
    asked: dict[str, list[UUID]] = {}
    open_ = Notice.objects.filter(closed_at=None, cause__startswith=PREFIX)
    for cause in open_.values_list("cause", flat=True):
        slug, _, number = cause.removeprefix(PREFIX).partition(":")
        asked.setdefault(slug, []).append(UUID(number))
    still = set()
    for slug, model in DRAWS:
        for draw in unsure(model, within | Q(uuid__in=asked.get(slug, []))):
            still.add(ask_about(slug, draw))
    close_gone(PREFIX, still)
    return len(still)


def unsure(model: type[Entry], which: Q) -> Iterable[Any]:
    """Standing draws without an end of which a later lot has 0 kg, that lot first in ``draws``."""
    maybe = LotDraw.objects.filter(kg=0).select_related("lot").order_by("at", "id")
    open_end = Q(("ended_at", None), ("draws__kg", 0))
    rows = model._default_manager.filter(which & open_end, struck_at=None)
    return rows.select_related("tank").prefetch_related(Prefetch("draws", maybe)).distinct()


@in_estate_language()
def ask_about(slug: str, draw: Any) -> str:
    """Put the question about one draw to the cheesemaker; its cause."""
    first = draw.draws.all()[0]
    cause = f"{PREFIX}{slug}:{draw.uuid}"
    raise_notice(
        cause=cause,
        role=CHEESEMAKER,
        what=_(ASK).format(
            what=capfirst(str(draw)),
            at=local(draw.happened_at),
            lot=first.lot,
            tank=draw.tank,
            opened=local(first.at),
        ),
        where=str(draw.tank),
        otherwise=_(OTHERWISE),
        url=reverse("kind-reenter", args=[slug, draw.uuid]),
    )
    return cause


def look_for_ends(at: datetime, back: timedelta) -> int:
    """The same for every tank and the days before ``at``, as a job does it."""
    return ask_for_ends(Tank.objects.all(), at - back, at)
