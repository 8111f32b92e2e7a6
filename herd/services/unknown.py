"""A cow nobody can name is written down, and later who she was and by which proof."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local
from config.entries import Stamp
from config.language import in_estate_language
from config.notices import close_gone, raise_notice
from config.roles import STOCKMAN
from herd.models import Animal, CowKnown, Group, UnknownCow
from herd.unknown import stood_there

FIND_OUT = N_("An unknown cow stands in {group}, seen {at}{marks}. Say who she is, with the proof.")
OTHERWISE = N_("Her milk stays out of the tank.")
NOT_THERE = N_(
    "{animal} did not stand in {group} at {at}. Read the tag again, or write her move first."
)
KNOWN_BEFORE_SEEN = N_("She was seen first at {seen}; she cannot have been known before that.")


@transaction.atomic
def record_unknown_cow(*, stamp: Stamp, group: Group, **fields: Any) -> UnknownCow:
    """A cow whom nobody could name: NOT for the tank until somebody says who she is."""
    cow = entries.record(UnknownCow, stamp=stamp, group=group, **fields)
    ask_who_she_is(cow)
    return cow


@transaction.atomic
def strike_unknown_cow(
    cow: UnknownCow, *, by: Any, reason: str, words: str = "", at: Any = None
) -> UnknownCow:
    """Take back that a cow was unknown; nobody need look for her any more."""
    cow = entries.strike(cow, by=by, reason=reason, words=words, at=at)
    close_gone(cause_of(cow), still=())
    return cow


@transaction.atomic
def record_cow_known(
    *, stamp: Stamp, unknown: UnknownCow, animal: Animal, proof: str, remark: str = ""
) -> CowKnown:
    """Who an unknown cow is. Raises ValidationError at ``animal`` for one that stood elsewhere."""
    if stamp.happened_at < unknown.happened_at:
        words = _(KNOWN_BEFORE_SEEN).format(seen=local(unknown.happened_at))
        raise ValidationError({"happened_at": words})
    if not stood_there(animal, unknown):
        words = _(NOT_THERE).format(
            animal=animal, group=unknown.group, at=local(unknown.happened_at)
        )
        raise ValidationError({"animal": words})
    known = entries.record(
        CowKnown, stamp=stamp, unknown=unknown, animal=animal, proof=proof, remark=remark
    )
    close_gone(cause_of(unknown), still=())
    return known


@transaction.atomic
def strike_cow_known(
    known: CowKnown, *, by: Any, reason: str, words: str = "", at: Any = None
) -> CowKnown:
    """Take back who she was: she is unknown again, and NOT."""
    known = entries.strike(known, by=by, reason=reason, words=words, at=at)
    ask_who_she_is(known.unknown)
    return known


@in_estate_language()
def ask_who_she_is(cow: UnknownCow) -> None:
    """Have the stockman find out; once, however often she is written."""
    marks = f" ({cow.marks})" if cow.marks else ""
    raise_notice(
        cause=cause_of(cow),
        role=STOCKMAN,
        what=_(FIND_OUT).format(group=cow.group, at=local(cow.happened_at), marks=marks),
        where=cow.where_kept or str(cow.group),
        otherwise=_(OTHERWISE),
        url=cow.get_absolute_url(),
    )


def cause_of(cow: UnknownCow) -> str:
    return f"unknown-cow:{cow.uuid}"
