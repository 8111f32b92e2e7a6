"""Writing down residues that were measured in milk, and holding the lot that has too much."""

from datetime import date
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local_day
from config.entries import Stamp
from config.language import in_estate_language
from milk.models import Hold, MilkLot, Residue, ResidueLimit
from milk.residues import Measured, Most, too_much
from milk.results import ABOVE, BELOW, read_result
from milk.services import holds
from milk.services.tests import check_lot

NO_NUMBER = N_(
    "Expected the number on the paper in µg/kg, as 12, 12,5 or <2 (looked for, not found)."
)
TOO_LARGE = N_("{value} µg/kg cannot be: that is more than a gram in a kilogram. Check the unit.")
MOST = Decimal(999_999)
HELD = N_("residue in lot {lot}: {words}")


@transaction.atomic
def record_residue(
    *, stamp: Stamp, lot: MilkLot, substance: str, written: str, **fields: Any
) -> Residue:
    """Write down one substance as measured in a lot; the lot is held when it is too much.

    ``stamp.happened_at`` is when the sample was taken. Raises ValidationError by field.
    """
    check_lot(lot, stamp)
    made: Residue = entries.record(
        Residue,
        stamp=stamp,
        lot=lot,
        substance=" ".join(substance.split()),
        written=written.strip(),
        value=number_in(written),
        **fields,
    )
    bring_in_line(lot)
    return made


@transaction.atomic
def strike_residue(residue: Residue, **why: Any) -> Residue:
    """Strike a result; a hold that stood on it alone gets “cause gone”."""
    struck: Residue = entries.strike(residue, **why)
    bring_in_line(struck.lot)
    return struck


def number_in(written: str) -> Decimal | None:
    """The µg/kg that were written; None for “<2”. Raises ValidationError."""
    try:
        result = read_result(written)
    except ValueError as error:
        raise ValidationError({"written": _(NO_NUMBER)}) from error
    if result.value < 0 or result.mark == ABOVE:
        raise ValidationError({"written": _(NO_NUMBER)})
    if result.value > MOST:
        raise ValidationError({"written": _(TOO_LARGE).format(value=result.value)})
    return None if result.mark == BELOW else result.value


def limits_on(day: date) -> list[Most]:
    """The limits in force on a day, of the schemes the estate follows: of each the newest row."""
    chosen = ResidueLimit.objects.standing().filter(scheme__in=settings.ESTATE_SCHEMES)
    rows = chosen.filter(valid_from__lte=day).order_by("valid_from", "pk")
    newest = {(row.substance.casefold(), row.scheme): row for row in rows}
    return [Most(row.substance, row.summed_as, row.at_most, row.scheme) for row in newest.values()]


@in_estate_language()
def bring_in_line(lot: MilkLot) -> None:
    """Hold a lot for what is over in it, and let holds go whose cause is gone."""
    rows = list(Residue.objects.standing().filter(lot=lot).order_by("happened_at", "pk"))
    day = local_day(lot.opened_at)
    found = too_much([Measured(row.substance, row.value) for row in rows], limits_on(day))
    now = timezone.now()
    wanted = {f"residue:{lot.uuid}:{one.key}"[:120]: one for one in found}
    for cause, one in wanted.items():
        words = _(HELD).format(lot=lot, words=one.words)
        holds.hold_automatically(
            cause=cause, reason=Hold.Reason.LIMIT, words=words, lots=[lot.pk], at=now
        )
    standing = Hold.objects.standing().filter(cause_key__startswith=f"residue:{lot.uuid}:")
    for cause in standing.exclude(cause_key__in=list(wanted)).values_list("cause_key", flat=True):
        holds.cause_gone(cause, at=now, words=_("No result of it in the book is over its limit."))
