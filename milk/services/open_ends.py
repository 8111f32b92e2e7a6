"""Asks for the end of a filling when milk began to come into its tank and nobody wrote it.

Until it is written the vat has both lots, the later one with 0 kg: not knowing is in.
"""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Prefetch
from django.urls import reverse
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.asking import ask
from config.days import local
from config.entries import Entry
from config.language import in_estate_language
from config.notices import close_gone, raise_notice
from config.roles import CHEESEMAKER
from milk.figures import longest_draws
from milk.models import Delivery, LotDraw, Tank, Tray, VatFill

PREFIX = "end-of-draw:"
# By the name of its kind, and the column of LotDraw that names it.
DRAWS: tuple[tuple[str, str, type[Entry]], ...] = (
    ("vat-fills", "vat_fill", VatFill),
    ("trays", "tray", Tray),
    ("deliveries", "delivery", Delivery),
)
ASKED = "SELECT cause FROM config_notice WHERE closed_at IS NULL AND cause LIKE %(prefix)s"
# Standing draws without an end of which a later lot has 0 kg: those of some tanks, and those about
# which was asked already.
UNSURE = " UNION ALL ".join(
    f"""
    SELECT '{slug}', f.id FROM {model._meta.db_table} AS f
    WHERE f.struck_at IS NULL AND f.ended_at IS NULL
      AND (f.tank_id = ANY(%(tanks)s::int4[]) AND f.happened_at >= %(since)s
           AND f.happened_at <= %(until)s
           OR f.uuid = ANY(%(asked)s::uuid[]))
      AND EXISTS (SELECT FROM milk_lotdraw AS d WHERE d.{column}_id = f.id AND d.kg = 0)
    """
    for slug, column, model in DRAWS
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
    asked = {cause for (cause,) in ask(ASKED, {"prefix": f"{PREFIX}%"})}
    named = [UUID(cause.rpartition(":")[2]) for cause in asked]
    within = {"tanks": [tank.pk for tank in tanks], "since": earliest, "until": until}
    found: dict[str, list[int]] = defaultdict(list)
    for slug, number in ask(UNSURE, {**within, "asked": named}):
        found[slug].append(number)
    models = {slug: model for slug, _, model in DRAWS}
    still = {
        ask_about(slug, draw)
        for slug, numbers in found.items()
        for draw in draws_of(models[slug], numbers)
    }
    if asked - still:
        close_gone(PREFIX, still)
    return len(still)


def draws_of(model: type[Entry], numbers: Iterable[int]) -> Iterable[Any]:
    """The draws with these keys; in ``draws`` of each the lots of which it has 0 kg, in order."""
    maybe = LotDraw.objects.filter(kg=0).select_related("lot").order_by("at", "id")
    rows = model._default_manager.filter(pk__in=numbers)
    return rows.select_related("tank").prefetch_related(Prefetch("draws", maybe))


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
