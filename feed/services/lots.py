"""Feed lots: hay, meal and other bought or stored feed, as far as the scheme lets them in."""

from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local_day
from config.entries import Stamp
from config.jobs import ask
from feed.following import followed
from feed.models import FeedLot, FeedRule
from feed.schemes import Feed, Forbidden, broken
from feed.services.deadlines import FLAG_TASK
from feed.services.left import check_new_wording, locked_thing

FORBIDDEN = N_(
    "{feed} may not be fed or kept here: {rule} ({scheme}). Nothing was saved. Keep it off the "
    "estate, or have the vet look at the rule."
)
FINISHED_FIRST = N_("It cannot be finished on {finished} before it was opened on {opened}.")


def record_feed_lot(*, stamp: Stamp, **fields: Any) -> FeedLot:
    """Write a feed lot. Raises ValidationError by field, also when a scheme forbids the feed."""
    check_feed(FeedLot(**stamp.columns(), **fields), local_day(stamp.happened_at))
    return entries.record(FeedLot, stamp=stamp, **fields)


@transaction.atomic
def correct_feed_lot(
    lot: FeedLot, *, stamp: Stamp, reason: str, words: str = "", kg: Decimal, **fields: Any
) -> FeedLot:
    """Write a feed lot again under its own number; what was fed of it stays fed.

    Raises Conflict when it is struck already, ValidationError by field.
    """
    if not lot.is_struck:
        check_new_wording(locked_thing(None, lot), stamp.happened_at, kg)
        check_feed(FeedLot(**stamp.columns(), kg=kg, **fields), local_day(stamp.happened_at))
    corrected = entries.correct(lot, stamp=stamp, reason=reason, words=words, kg=kg, **fields)
    ask(FLAG_TASK)
    return corrected


def check_feed(lot: FeedLot, on: date) -> None:
    """Refuse a feed that a scheme forbids, and days in the wrong order. Raises ValidationError."""
    opened, finished = lot.opened_on, lot.finished_on
    if opened and finished and finished < opened:
        words = _(FINISHED_FIRST).format(opened=opened, finished=finished)
        raise ValidationError({"finished_on": words})
    refused = [rule for rule in broken_by(lot, on) if rule.refuse]
    if refused:
        words = _(FORBIDDEN).format(
            feed=capfirst(str(lot)), rule=refused[0].name, scheme=refused[0].scheme
        )
        raise ValidationError({"kept_as": words})


def broken_by(lot: FeedLot, on: date) -> list[Forbidden]:
    """The rules of the estate's schemes that a lot breaks on a day, those that refuse first."""
    return broken(feed_of(lot), feed_rules(), on)


def feed_of(lot: FeedLot) -> Feed:
    """A feed lot as a scheme sees it."""
    return Feed(
        kind=lot.kind,
        name=lot.name,
        kept=lot.kept_as,
        water=None if lot.dry_matter is None else 100 - lot.dry_matter,
        aflatoxin=lot.aflatoxin,
    )


def feed_rules() -> list[Forbidden]:
    """The standing rules about forbidden feeds, of the schemes the estate follows."""
    return [
        Forbidden(
            name=row.name,
            scheme=row.scheme,
            refuse=row.act == FeedRule.Act.REFUSE,
            valid_from=row.valid_from,
            valid_to=row.valid_to,
            kind=row.kind,
            kept=row.kept_as,
            words=tuple(word.strip() for word in row.name_has.split(",") if word.strip()),
            water_above=row.water_above,
            aflatoxin_above=row.aflatoxin_above,
        )
        for row in followed(FeedRule.objects.standing())
    ]
