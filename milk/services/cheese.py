"""Writing down results of cheese; a batch that fails a safety criterion is held at once."""

from datetime import datetime
from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local
from config.entries import Stamp
from config.language import in_estate_language
from milk.cheese_results import judged_tests
from milk.models import CheeseLimit, CheeseTest, Hold, Vat
from milk.models.cheese import BETWEEN_RESULTS
from milk.results import read_result, standard
from milk.services import holds
from milk.services.flowing import check_stands

What = CheeseTest.What
BEFORE_ITS_VAT = N_(
    "The sample was taken at {taken}, but {vat} was begun at {begun}. Check the time, or choose "
    "the vat the cheese is of."
)
EXAMINED = N_("Say how many units were examined, and in how many it was detected (0 for none).")
MORE_THAN_EXAMINED = N_("It cannot be detected in {detected} of {units} units.")
NO_NUMBERS = N_("This is detected or not: leave the results blank, and say in how many units.")
ONLY_NUMBERS = N_(
    "Write the results as numbers, one for each unit; “detected in” is for pathogens."
)
RESULT_MISSING = N_(
    "Write the results as on the paper, one for each unit, such as 5000; 20000; <10."
)
SINGLE = N_("{what} is one number; expected it alone.")
UNIT_MISSING = N_("Say the unit on the paper: aflatoxin is reported in µg/kg or ng/kg.")
UNIT_OTHER = N_("{what} is given in {expected}, not in {unit}.")
CANNOT_BE = N_("{value} cannot be {what}. Expected {least} to {most}.")
# What a result can be at all (common practice); outside it a unit or a digit is wrong.
RANGES = {
    What.STAPHYLOCOCCI: ("0", "1e10"),
    What.LISTERIA_COUNT: ("0", "1e10"),
    What.AFLATOXIN: ("0.0001", "100"),
    What.FAT: ("1", "60"),
    What.MOISTURE: ("10", "80"),
    What.PH: ("4", "8"),
    What.WATER_ACTIVITY: ("0.5", "1"),
}
UNITS = {What.FAT: "%", What.MOISTURE: "%", What.STAPHYLOCOCCI: "cfu/g"}
UNITS |= {What.LISTERIA_COUNT: "cfu/g", What.PH: "", What.WATER_ACTIVITY: ""}
STRUCK = N_("The result was struck by {by}.")


@transaction.atomic
def record_cheese_test(
    *,
    stamp: Stamp,
    vat: Vat,
    what: str,
    written: str = "",
    unit: str = "",
    units: int | None = None,
    detected: int | None = None,
    **fields: Any,
) -> CheeseTest:
    """Write down the results of one set of samples of a vat's cheese.

    Holds the vat with its wheels when they fail a criterion. Raises ValidationError by field.
    """
    check_stands(vat, "vat")
    if stamp.happened_at < vat.happened_at:
        taken, begun = local(stamp.happened_at), local(vat.happened_at)
        words = _(BEFORE_ITS_VAT).format(taken=taken, vat=vat, begun=begun)
        raise ValidationError({"happened_at": words})
    if what in CheeseTest.DETECTED_OR_NOT:
        check_detection(written, units, detected)
        unit = ""
    else:
        if units is not None or detected is not None:
            raise ValidationError({"units": _(ONLY_NUMBERS)})
        unit = checked_unit(what, unit)
        check_numbers(what, written, unit)
    made: CheeseTest = entries.record(
        CheeseTest,
        stamp=stamp,
        vat=vat,
        what=what,
        written=written.strip(),
        unit=unit,
        units=units,
        detected=detected,
        **fields,
    )
    follow(vat, made.received_at)
    return made


@transaction.atomic
def strike_cheese_test(
    test: CheeseTest, *, by: User, reason: str, words: str = "", **options: Any
) -> CheeseTest:
    """Strike a result; the hold that stood on it alone gets “cause gone”."""
    struck = entries.strike(test, by=by, reason=reason, words=words, **options)
    assert struck.struck_at is not None
    with in_estate_language():
        said = _(STRUCK).format(by=by)
    holds.cause_gone(cause_of(struck), at=struck.struck_at, words=said)
    follow(struck.vat, struck.struck_at)
    return struck


@in_estate_language()
def follow(vat: Vat, at: datetime) -> None:
    """Hold a vat for each of its results that fails a safety criterion, once."""
    for judged in judged_tests(vat):
        if judged.holds:
            holds.hold_automatically(
                cause=cause_of(judged.test),
                reason=Hold.Reason.LIMIT,
                words=f"{vat}: {judged.words}",
                lots=[],
                vat=vat,
                at=at,
            )


def cause_of(test: CheeseTest) -> str:
    """The cause key of the hold that stands on one result of cheese."""
    return f"cheese:{test.uuid}"


def check_detection(written: str, units: int | None, detected: int | None) -> None:
    """Refuse a detection without its numbers, or with results of another kind."""
    if written.strip():
        raise ValidationError({"written": _(NO_NUMBERS)})
    if units is None or detected is None:
        raise ValidationError({"units" if units is None else "detected": _(EXAMINED)})
    if detected > units:
        words = _(MORE_THAN_EXAMINED).format(detected=detected, units=units)
        raise ValidationError({"detected": words})


def checked_unit(what: str, unit: str) -> str:
    """The unit of the paper. Raises ValidationError where it must be said, or is another one."""
    if what == What.AFLATOXIN:
        if unit not in (CheeseTest.Unit.MICROGRAM, CheeseTest.Unit.NANOGRAM):
            raise ValidationError({"unit": _(UNIT_MISSING)})
        return unit
    expected = UNITS[What(what)]
    if unit and unit != expected:
        label = What(what).label.partition(",")[0]
        words = _(UNIT_OTHER).format(what=label, expected=expected or _("no unit"), unit=unit)
        raise ValidationError({"unit": words})
    return expected


def check_numbers(what: str, written: str, unit: str) -> None:
    """Refuse results that are no numbers, or that cannot be. Raises ValidationError."""
    parts = [part for part in written.split(BETWEEN_RESULTS) if part.strip()]
    label = What(what).label.partition(",")[0]
    if not parts:
        raise ValidationError({"written": _(RESULT_MISSING)})
    if what not in CheeseTest.COUNTED and len(parts) > 1:
        raise ValidationError({"written": _(SINGLE).format(what=label)})
    least, most = RANGES[What(what)]
    for part in parts:
        try:
            value = read_result(part, count=what in CheeseTest.COUNTED).value
        except ValueError as error:
            raise ValidationError({"written": str(error)}) from error
        if not Decimal(least) <= standard(what, value, unit) <= Decimal(most):
            words = _(CANNOT_BE).format(value=part.strip(), what=label, least=least, most=most)
            raise ValidationError({"written": words})


@transaction.atomic
def record_cheese_limit(*, stamp: Stamp, **fields: Any) -> CheeseLimit:
    """Write down a criterion valid from a day on; results are held against it when next looked at.

    Raises ValidationError by field.
    """
    made: CheeseLimit = entries.record(CheeseLimit, stamp=stamp, **fields)
    return made
