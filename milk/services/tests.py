"""Writing down and striking the results of laboratories, and what follows from them at once."""

from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local
from config.entries import Stamp
from config.jobs import ask
from config.language import in_estate_language
from milk.models import Delivery, LotDraw, LotTest, MilkLot
from milk.models.limits import Verdict, What
from milk.results import (
    COUNTS,
    NEEDS_METHOD,
    RANGES,
    UNITS,
    read_result,
    read_verdict,
    standard,
    units_of,
)
from milk.services import flags, holds

BEFORE_ITS_LOT = N_(
    "The sample was taken at {taken}, but lot {lot} was opened at {opened}. Expected a sample of "
    "milk that was there: check the time, or choose the lot before it."
)
LOT_VOID = N_(
    "Lot {lot} is void: the milking that opened it was struck. Choose the lot that has its milk."
)
NAME_LOT = N_("Name the lot the sample is of, or the delivery it was taken from.")
NO_LOT_OF_DELIVERY = N_(
    "No lot is known of this delivery: the tank's time line does not reach it. Name the lot."
)
SEVERAL_LOTS = N_("The delivery is of the lots {lots}. Name the one the sample is of.")
NOT_OF_DELIVERY = N_("The delivery is of lot {lots}, not of lot {lot}. Name one or the other.")
UNIT_MISSING = N_(
    "Say the unit on the paper: {what} is reported in {units}, and the number alone does not tell."
)
UNIT_UNKNOWN = N_("“{unit}” is no unit of {what}. Expected {units}, as on the paper.")
NO_UNIT = N_("An inhibitor test has a verdict and no unit.")
METHOD_MISSING = N_(
    "Name the method on the paper: results of {what} by different methods are not comparable."
)
RESULT_MISSING = N_("Write the result: a number in {unit}, as on the paper (187, 187,5 or <10).")
VERDICT_MISSING = N_("Say what the inhibitor test said: negative, positive or in doubt.")
TWO_VERDICTS = N_(
    "The verdict says {verdict}, the result as written says {written}. Expected the same."
)
VERDICT_ONLY_INHIBITOR = N_("Only an inhibitor test has a verdict; {what} needs a number.")
NO_NUMBER_FOR_INHIBITOR = N_("An inhibitor test has a verdict, no number.")
TWO_NUMBERS = N_(
    "The number says {value}, the result as written says {written}. Expected the same."
)
OUT_OF_RANGE = N_(
    "{value} {unit} cannot be. Expected {least} to {most} {standard}; check the unit on the paper."
)


@transaction.atomic
def record_lot_test(
    *,
    stamp: Stamp,
    what: str,
    lot: MilkLot | None = None,
    delivery: Delivery | None = None,
    value: Decimal | None = None,
    verdict: str = "",
    written: str = "",
    unit: str = "",
    **fields: Any,
) -> LotTest:
    """Write down one result of one lot; ``stamp.happened_at`` is when the sample was taken.

    ``value`` is in ``unit``, which may be blank where laboratories report in one unit only; without
    a value the number is read from ``written``. Without ``lot`` it is the lot of the delivery.
    Flags the lot at once when the result is over a limit, and holds it when an inhibitor test is
    positive or in doubt. Raises ValidationError by field.
    """
    lot = lot_of(lot, delivery)
    check_lot(lot, stamp)
    if what == What.INHIBITOR:
        verdict = checked_verdict(value, verdict, written, unit)
    else:
        unit = checked_unit(what, unit)
        value = checked_value(what, value, verdict, written, unit)
        check_method(what, str(fields.get("method", "")))
    test: LotTest = entries.record(
        LotTest,
        stamp=stamp,
        lot=lot,
        delivery=delivery,
        what=what,
        value=value,
        verdict=verdict,
        written=written.strip(),
        unit=unit,
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
    with in_estate_language():
        said = _("The result was struck by {by}.").format(by=by)
    holds.cause_gone(holds.cause_of_test(struck), at=timezone.now(), words=said)
    ask("milk.tasks.flag_lots_over_limits")
    return struck


def lot_of(lot: MilkLot | None, delivery: Delivery | None) -> MilkLot:
    """The lot a sample is of: the one named, else the only one of the delivery it was taken from.

    Raises ValidationError when none is named, when the delivery has several, or has another one.
    """
    if delivery is None:
        if lot is None:
            raise ValidationError({"lot": _(NAME_LOT)})
        return lot
    found = lots_of(delivery)
    codes = ", ".join(each.code for each in found)
    if lot is None:
        if len(found) == 1:
            return found[0]
        words = _(SEVERAL_LOTS).format(lots=codes) if found else _(NO_LOT_OF_DELIVERY)
        raise ValidationError({"lot": words})
    if found and lot not in found:
        raise ValidationError({"delivery": _(NOT_OF_DELIVERY).format(lots=codes, lot=lot)})
    return lot


def lots_of(delivery: Delivery) -> list[MilkLot]:
    """The lots of a delivery: the one it opened, or those it was drawn from."""
    if delivery.way == Delivery.Way.IN:
        return list(MilkLot.objects.valid().filter(delivery=delivery))
    drawn = LotDraw.objects.filter(delivery=delivery).values("lot_id")
    return list(MilkLot.objects.valid().filter(pk__in=drawn).order_by("opened_at", "id"))


def check_lot(lot: MilkLot, stamp: Stamp) -> None:
    """Refuse a void lot, and a sample older than the lot."""
    if lot.void:
        raise ValidationError({"lot": _(LOT_VOID).format(lot=lot)})
    if stamp.happened_at < lot.opened_at:
        words = _(BEFORE_ITS_LOT).format(
            taken=local(stamp.happened_at), lot=lot, opened=local(lot.opened_at)
        )
        raise ValidationError({"happened_at": words})


def checked_verdict(value: Decimal | None, verdict: str, written: str, unit: str) -> str:
    """The verdict of an inhibitor test, read from the paper when it is not given.

    Refuses a number or a unit, and a verdict that the words on the paper contradict.
    """
    said = read_verdict(written)
    if said and verdict and said != verdict:
        label = Verdict(verdict).label
        words = _(TWO_VERDICTS).format(verdict=label, written=written.strip())
        raise ValidationError({"verdict": words})
    if (verdict or said) not in Verdict.values:
        raise ValidationError({"verdict": _(VERDICT_MISSING)})
    if unit:
        raise ValidationError({"unit": _(NO_UNIT)})
    if value is not None:
        raise ValidationError({"value": _(NO_NUMBER_FOR_INHIBITOR)})
    return verdict or said


def checked_unit(what: str, unit: str) -> str:
    """The unit of the paper; the only one where there is one. Raises ValidationError."""
    if what not in UNITS:
        raise ValidationError({"what": _("“{what}” is not measured here.").format(what=what)})
    known = units_of(what)
    label = What(what).label.partition(",")[0]
    if not unit:
        if len(known) > 1:
            words = _(UNIT_MISSING).format(what=label, units=_(" or ").join(known))
            raise ValidationError({"unit": words})
        return known[0]
    if unit not in known:
        words = _(UNIT_UNKNOWN).format(unit=unit, what=label, units=_(" or ").join(known))
        raise ValidationError({"unit": words})
    return unit


def check_method(what: str, method: str) -> None:
    """Refuse a result without its method where methods do not agree."""
    if what in NEEDS_METHOD and not method.strip():
        label = What(what).label.partition(",")[0]
        raise ValidationError({"method": _(METHOD_MISSING).format(what=label)})


def checked_value(
    what: str, value: Decimal | None, verdict: str, written: str, unit: str
) -> Decimal:
    """The number of a result, read from the paper when it is not given. Raises ValidationError."""
    if verdict:
        words = _(VERDICT_ONLY_INHIBITOR).format(what=What(what).label)
        raise ValidationError({"verdict": words})
    said = said_number(what, written)
    if value is None and said is None:
        raise ValidationError({"written": _(RESULT_MISSING).format(unit=unit)})
    if value is not None and said is not None and value != said:
        raise ValidationError(
            {"value": _(TWO_NUMBERS).format(value=value, written=written.strip())}
        )
    number = said if value is None else value
    assert number is not None
    least, most = RANGES[what]
    if not Decimal(least) <= standard(what, number, unit) <= Decimal(most):
        words = _(OUT_OF_RANGE).format(
            value=number, unit=unit, least=least, most=most, standard=UNITS[what]
        )
        raise ValidationError({"written" if value is None else "value": words})
    return number


def said_number(what: str, written: str) -> Decimal | None:
    """The number on the paper; None when nothing is written. Raises ValidationError."""
    if not written.strip():
        return None
    try:
        return read_result(written, count=what in COUNTS).value
    except ValueError as error:
        raise ValidationError({"written": str(error)}) from error
