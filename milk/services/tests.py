"""Writing down and striking the results of laboratories, and what follows from them at once."""

from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from config import entries
from config.entries import Stamp
from config.jobs import ask
from milk.models import LotTest, MilkLot
from milk.models.limits import Verdict, What
from milk.results import COUNTS, RANGES, UNITS, read_result
from milk.services import flags, holds

BEFORE_ITS_LOT = (
    "The sample was taken at {taken}, but lot {lot} was opened at {opened}. Expected a sample of "
    "milk that was there: check the time, or choose the lot before it."
)
LOT_VOID = (
    "Lot {lot} is void: the milking that opened it was struck. Choose the lot that has its milk."
)
RESULT_MISSING = "Write the result: a number in {unit}, as on the paper (187, 187,5 or <10)."
VERDICT_MISSING = "Say what the inhibitor test said: negative, positive or in doubt."
VERDICT_ONLY_INHIBITOR = "Only an inhibitor test has a verdict; {what} needs a number."
NO_NUMBER_FOR_INHIBITOR = "An inhibitor test has a verdict, no number."
TWO_NUMBERS = "The number says {value}, the result as written says {written}. Expected the same."
OUT_OF_RANGE = (
    "{value} {unit} cannot be. Expected {least} to {most} {unit}; check the unit on the paper."
)


@transaction.atomic
def record_lot_test(
    *,
    stamp: Stamp,
    lot: MilkLot,
    what: str,
    value: Decimal | None = None,
    verdict: str = "",
    written: str = "",
    **fields: Any,
) -> LotTest:
    """Write down one result of one lot; ``stamp.happened_at`` is when the sample was taken.

    ``value`` is in the unit of ``what``; without it the number is read from ``written``. Flags the
    lot at once when the result is over a limit, and holds it when an inhibitor test is positive or
    in doubt. Raises ValidationError by field.
    """
    check_lot(lot, stamp)
    if what == What.INHIBITOR:
        check_verdict(value, verdict)
    else:
        value = checked_value(what, value, verdict, written)
    test: LotTest = entries.record(
        LotTest,
        stamp=stamp,
        lot=lot,
        what=what,
        value=value,
        verdict=verdict,
        written=written.strip(),
        **fields,
    )
    flags.flag_tests([test])
    if verdict in (Verdict.POSITIVE, Verdict.DOUBT):
        holds.hold_for_inhibitor(test)
    ask("milk.tasks.flag_lots_over_limits")
    return test


@transaction.atomic
def strike_lot_test(
    test: LotTest, *, by: User, reason: str, words: str = "", **options: Any
) -> LotTest:
    """Strike a result; its flags go, and a hold that stood on it alone gets “cause gone”."""
    struck = entries.strike(test, by=by, reason=reason, words=words, **options)
    flags.flag_tests([struck])
    holds.cause_gone(
        holds.cause_of_test(struck), at=timezone.now(), words=f"The result was struck by {by}."
    )
    ask("milk.tasks.flag_lots_over_limits")
    return struck


def check_lot(lot: MilkLot, stamp: Stamp) -> None:
    """Refuse a void lot, and a sample older than the lot."""
    if lot.void:
        raise ValidationError({"lot": LOT_VOID.format(lot=lot)})
    if stamp.happened_at < lot.opened_at:
        words = BEFORE_ITS_LOT.format(
            taken=local(stamp.happened_at), lot=lot, opened=local(lot.opened_at)
        )
        raise ValidationError({"happened_at": words})


def check_verdict(value: Decimal | None, verdict: str) -> None:
    """Refuse an inhibitor test without a verdict, or with a number."""
    if verdict not in Verdict.values:
        raise ValidationError({"verdict": VERDICT_MISSING})
    if value is not None:
        raise ValidationError({"value": NO_NUMBER_FOR_INHIBITOR})


def checked_value(what: str, value: Decimal | None, verdict: str, written: str) -> Decimal:
    """The number of a result, read from the paper when it is not given. Raises ValidationError."""
    if what not in UNITS:
        raise ValidationError({"what": f"“{what}” is not measured here."})
    kind = What(what)
    if verdict:
        words = VERDICT_ONLY_INHIBITOR.format(what=kind.label)
        raise ValidationError({"verdict": words})
    said = None
    if written.strip():
        try:
            said = read_result(written, count=what in COUNTS).value
        except ValueError as error:
            raise ValidationError({"written": str(error)}) from error
    if value is None and said is None:
        raise ValidationError({"value": RESULT_MISSING.format(unit=UNITS[what])})
    if value is not None and said is not None and value != said:
        raise ValidationError({"value": TWO_NUMBERS.format(value=value, written=written.strip())})
    number = said if value is None else value
    assert number is not None
    least, most = RANGES[what]
    if not Decimal(least) <= number <= Decimal(most):
        words = OUT_OF_RANGE.format(value=number, unit=UNITS[what], least=least, most=most)
        raise ValidationError({"value": words})
    return number


def local(moment: Any) -> str:
    return timezone.localtime(moment).strftime("%Y-%m-%d %H:%M")
