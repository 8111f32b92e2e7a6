"""The marks of a make: written one touch each, struck to undo; the vat keeps their moments."""

from collections.abc import Collection
from datetime import timedelta
from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local
from config.entries import Stamp, check_not_ahead
from config.errors import Conflict
from config.jobs import ask
from milk.models import Vat, VatMark
from milk.services.flowing import check_stands

MARKED_ALREADY = N_(
    "{vat} has the mark “{what}” already, at {at} by {by}. Strike that one first, if it is wrong."
)
BEFORE_BEGIN = N_("{vat} was begun at {begun}; “{what}” cannot have been at {at}. Look at the vat.")
TOO_LATE = N_("{vat} was begun at {begun}; “{what}” at {at} is more than {hours} h later.")
OUT_OF_ORDER = N_(
    "“{what}” at {at} does not go with “{other}” at {other_at}: in a make {order}. Look at the "
    "clock and at the vat; a wrong mark is struck and written again."
)
ACID_ONLY = N_(
    "Acidity belongs to the mark “acidity read”. Choose that one, or leave the number away."
)
# Everything of a make happens within a day; what is further away has a wrong day or vat in it.
LONGEST_MAKE = timedelta(hours=24)

# Only standing vats: the struck copy of an earlier wording keeps what it said.
KEEP = """
    UPDATE milk_vat AS v SET set_at = m.set_at, clot_at = m.clot_at, cut_at = m.cut_at,
        heated_at = m.heated_at, rested_at = m.rested_at, lifted_at = m.lifted_at
    FROM (
        SELECT o.id,
            max(k.happened_at) FILTER (WHERE k.what = 'set') AS set_at,
            max(k.happened_at) FILTER (WHERE k.what = 'clot') AS clot_at,
            max(k.happened_at) FILTER (WHERE k.what = 'cut') AS cut_at,
            max(k.happened_at) FILTER (WHERE k.what = 'heated') AS heated_at,
            max(k.happened_at) FILTER (WHERE k.what = 'rested') AS rested_at,
            max(k.happened_at) FILTER (WHERE k.what = 'lifted') AS lifted_at
        FROM milk_vat AS o
        LEFT JOIN milk_vatmark AS k ON k.vat_id = o.id AND k.struck_at IS NULL
        WHERE o.struck_at IS NULL AND (%(all)s OR o.id = ANY(%(vats)s::int4[]))
        GROUP BY o.id
    ) AS m
    WHERE v.id = m.id
      AND (v.set_at, v.clot_at, v.cut_at, v.heated_at, v.rested_at, v.lifted_at)
          IS DISTINCT FROM
          (m.set_at, m.clot_at, m.cut_at, m.heated_at, m.rested_at, m.lifted_at)
"""


@transaction.atomic
def record_mark(
    *,
    stamp: Stamp,
    vat: Vat,
    what: str,
    celsius: Decimal | None = None,
    acidity: Decimal | None = None,
    **fields: Any,
) -> VatMark:
    """Write a mark of a make. Raises ValidationError by field, Conflict for one that is there."""
    check_stands(vat, "vat")
    check_not_ahead(stamp.happened_at)
    # The lock lets two phones mark the same step once.
    vat = Vat.objects.select_for_update().get(pk=vat.pk)
    check_when(vat, what, stamp)
    if acidity is not None and what != VatMark.What.ACID:
        raise ValidationError({"acidity": _(ACID_ONLY)})
    if what in VatMark.STEPS:
        check_order(vat, what, stamp)
    mark: VatMark = entries.record(
        VatMark, stamp=stamp, vat=vat, what=what, celsius=celsius, acidity=acidity, **fields
    )
    keep_marks([vat.pk])
    ask("milk.tasks.look_at_vats")
    return mark


def check_when(vat: Vat, what: str, stamp: Stamp) -> None:
    """Refuse a mark before its vat was begun, or a day after."""
    said = {
        "vat": capfirst(str(vat)),
        "begun": local(vat.happened_at),
        "what": label(what),
        "at": local(stamp.happened_at),
    }
    if stamp.happened_at < vat.happened_at:
        raise ValidationError({"happened_at": _(BEFORE_BEGIN).format(**said)})
    if stamp.happened_at - vat.happened_at > LONGEST_MAKE:
        hours = LONGEST_MAKE // timedelta(hours=1)
        raise ValidationError({"happened_at": _(TOO_LATE).format(hours=hours, **said)})


def check_order(vat: Vat, what: str, stamp: Stamp) -> None:
    """Refuse a step that is marked already, or that stands on the wrong side of another."""
    steps = list(VatMark.STEPS)
    place = steps.index(VatMark.What(what))
    for mark in VatMark.objects.standing().filter(vat=vat, what__in=steps).select_related("by"):
        other = steps.index(VatMark.What(mark.what))
        if other == place:
            raise Conflict(
                _(MARKED_ALREADY).format(
                    vat=capfirst(str(vat)),
                    what=label(what),
                    at=local(mark.happened_at),
                    by=mark.by,
                )
            )
        early, late = stamp.happened_at < mark.happened_at, stamp.happened_at > mark.happened_at
        if (other < place and early) or (other > place and late):
            first, then = (mark.what, what) if other < place else (what, mark.what)
            words = _(OUT_OF_ORDER).format(
                what=label(what),
                at=local(stamp.happened_at),
                other=label(mark.what),
                other_at=local(mark.happened_at),
                order=_("{first} comes before {then}").format(first=label(first), then=label(then)),
            )
            raise ValidationError({"happened_at": words})


def label(what: str) -> str:
    """A mark in words; what is none stays as it was typed, for the form to refuse."""
    return str(dict(VatMark.What.choices).get(what, what))


@transaction.atomic
def strike_mark(mark: VatMark, *, by: User, reason: str, words: str = "") -> VatMark:
    """Strike a mark: the vat is where it was before. Raises Conflict when it is struck already."""
    struck = entries.strike(mark, by=by, reason=reason, words=words)
    keep_marks([struck.vat_id])
    ask("milk.tasks.look_at_vats")
    return struck


def keep_marks(vats: Collection[int] | None = None) -> int:
    """Keep the moments of the marks beside these vats (keys), or beside all; how many changed."""
    with connection.cursor() as cursor:
        cursor.execute(KEEP, {"all": vats is None, "vats": sorted(vats or ())})
        return int(cursor.rowcount)
