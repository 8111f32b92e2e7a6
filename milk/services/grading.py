"""What was found on wheels, their grades, and what is done to their rinds."""

from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local, local_day
from config.entries import Stamp
from config.errors import Conflict
from config.roles import OWN_MISTAKE
from milk.models import Fault, Grade, Inspection, RindMark, Wheel
from milk.services.flowing import check_stands
from milk.services.plates import check_wheel_weight
from milk.services.store import of_wheel

WHAT_FAULT = N_("A wheel graded {grade} has a fault: choose it from the list, or say it in words.")
NO_FAULT = N_(
    "{wheel} is graded {grade}, but {fault} is written as its fault. Change one of the two."
)
ONLY_NEWER = N_(
    "This inspection is older than {minutes} minutes: it stays as it is. Inspect the wheel again; "
    "the newer inspection counts."
)
MARKED_BEFORE = N_("{wheel} has this on its rind already ({mark}); it cannot be done twice.")


@transaction.atomic
def record_inspection(
    *,
    stamp: Stamp,
    wheel: Wheel,
    grade: str,
    kg: Decimal | None = None,
    fault: Fault | None = None,
    findings: str = "",
    **fields: Any,
) -> Inspection:
    """Write down what was found on a wheel. Raises ValidationError by field.

    A grade worse than first needs its fault, from the list or in words; a first has none.
    """
    check_wheel_weight(kg, local_day(stamp.happened_at))
    check_stands(fault, "fault")
    if grade in Grade.values and grade != Grade.FIRST and fault is None and not findings.strip():
        raise ValidationError({"fault": _(WHAT_FAULT).format(grade=Grade(grade).label)})
    if grade == Grade.FIRST and fault is not None:
        words = _(NO_FAULT).format(wheel=capfirst(str(wheel)), grade="first", fault=fault)
        raise ValidationError({"fault": words})
    looked: Inspection = of_wheel(
        Inspection, stamp, wheel, grade=grade, kg=kg, fault=fault, findings=findings, **fields
    )
    return looked


@transaction.atomic
def strike_inspection(
    inspection: Inspection, *, by: User, reason: str, words: str = "", **options: Any
) -> Inspection:
    """Take back a slip at once; later only a newer inspection corrects. Raises Conflict."""
    if not inspection.is_struck and timezone.now() - inspection.received_at > OWN_MISTAKE:
        minutes = int(OWN_MISTAKE.total_seconds() // 60)
        raise Conflict(_(ONLY_NEWER).format(minutes=minutes))
    return entries.strike(inspection, by=by, reason=reason, words=words, **options)


@transaction.atomic
def record_rind_mark(*, stamp: Stamp, wheel: Wheel, what: str) -> RindMark:
    """Write down what was done to a rind. Raises Conflict when that was done before."""
    before = RindMark.objects.standing().filter(wheel=wheel, what=what).first()
    if before is not None:
        mark = f"{before.get_what_display()}, {local(before.happened_at)}"
        raise Conflict(_(MARKED_BEFORE).format(wheel=capfirst(str(wheel)), mark=mark))
    made: RindMark = of_wheel(RindMark, stamp, wheel, what=what)
    return made
