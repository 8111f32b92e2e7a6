"""Courses and doses: ordered by the vet, given in the barn, struck and written again.

Every change computes the animal's withdrawal periods again in the same transaction, and has the
milk that exists already looked at.
"""

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local
from config.entries import Stamp
from config.offline_clock import sending
from config.roles import STOCKMAN, VET, roles_of
from herd.models import Animal, Course, Dose, Medicine
from herd.models.treatments import MayGive
from herd.services import withdrawals
from herd.services.in_date import check_in_date
from herd.services.orders import check_course
from herd.services.questions import ask_about_animal, ask_about_course

# A dose may be given this long before the first planned one; common practice.
BEFORE_THE_PLAN = timedelta(hours=12)
QUARTERS = ("LF", "RF", "LH", "RH")
GIVERS = {MayGive.VET.value: (VET,), MayGive.STOCKMAN.value: (VET, STOCKMAN)}

BEFORE_COURSE = N_(
    "This dose is of {at}, and its course starts {starts}. Expected a time from {earliest} on; for "
    "an earlier dose re-enter the course with its first dose."
)
NOT_YET = N_("{at} has not come yet. A dose tells what was given; enter it when it is in the cow.")
MAY_NOT_GIVE = N_(
    "{medicine} for {animal} may be given by {who} only, as the vet ordered. Nothing was written. "
    "If it is in the cow already, keep her milk out and have the vet write the dose."
)
NO_QUARTER = N_("“{text}” is no quarter. Expected LF, RF, LH or RH; several with commas.")


@transaction.atomic
def record_course(*, stamp: Stamp, animal: Animal, medicine: Medicine, **fields: Any) -> Course:
    """Order a course for one animal; it happens with its first planned dose, which may be ahead.

    Her milk is withheld from then on. Raises ValidationError by field.
    """
    withdrawals.lock([animal.pk])
    check_course(stamp.happened_at, animal=animal, medicine=medicine, **fields)
    course = entries.record_planned(Course, stamp=stamp, animal=animal, medicine=medicine, **fields)
    follow_course(course)
    return course


@transaction.atomic
def record_treatment(
    *, stamp: Stamp, first_dose: dict[str, Any] | None = None, **fields: Any
) -> Course:
    """A course and, in the same act, its first dose when it is given (quarter, batch, expiry).

    The dose is of the moment of the stamp. Raises ValidationError by field.
    """
    course = record_course(stamp=stamp, **fields)
    if first_dose is not None:
        record_dose(stamp=stamp.again(), course=course, quantity=course.dose, **first_dose)
    return course


@transaction.atomic
def record_dose(
    *,
    stamp: Stamp,
    course: Course,
    quantity: Decimal,
    quarter: str = "",
    batch: str = "",
    expires_on: Any = None,
    skipped: bool = False,
    why_skipped: str = "",
) -> Dose:
    """Write one dose given, or one skipped and why.

    A dose of a struck course is kept, for it was given: it stays without a plan, and nobody knows
    when the animal is back. Raises ValidationError by field, PermissionDenied for somebody whom the
    course does not let give it.
    """
    # Animals are locked before courses everywhere. The course is read again under the lock: a
    # correction may have moved it to another animal meanwhile.
    withdrawals.lock([course.animal_id])
    course = Course.objects.select_for_update(of=("self",), no_key=True).get(pk=course.pk)
    withdrawals.lock([course.animal_id])
    check_giver(stamp.by, course)
    check_dose(stamp.happened_at, course, skipped=skipped, batch=batch, expires_on=expires_on)
    dose = entries.record(
        Dose,
        stamp=stamp,
        course=course,
        quantity=quantity,
        quarter=plain_quarters(quarter),
        batch=batch,
        expires_on=expires_on,
        skipped=skipped,
        why_skipped=why_skipped,
    )
    follow_course(course)
    return dose


@transaction.atomic
def strike_dose(
    dose: Dose, *, by: Any, reason: str, words: str = "", at: datetime | None = None
) -> Dose:
    """Take a dose back; the clock runs from the one before, or from the plan."""
    withdrawals.lock([dose.course.animal_id])
    # What the vet answered about it may hang on it.
    dose = entries.strike(dose, by=by, reason=reason, words=words, at=at, hanging_may_stay=True)
    follow_course(dose.course)
    return dose


@transaction.atomic
def strike_course(
    course: Course, *, by: Any, reason: str, words: str = "", at: datetime | None = None
) -> Course:
    """Strike a course and, in the same act, the doses on it that were known when it was struck.

    A dose that arrives later, or at the same moment, is kept as one without a plan: it was given.
    """
    known = known_doses(course)
    withdrawals.lock([course.animal_id])
    course = entries.strike(course, by=by, reason=reason, words=words, at=at, hanging_may_stay=True)
    for dose in Dose.objects.standing().filter(pk__in=known):
        entries.strike(dose, by=by, reason=reason, words=words, at=at, hanging_may_stay=True)
    follow_course(course)
    return course


def known_doses(course: Course) -> list[int]:
    """The doses (keys) of a course that can be known to whoever strikes it now.

    Read before anybody is waited for: somebody who gives a dose meanwhile is not taken back. What
    comes from a phone was written when the phone knew nothing of what has arrived since.
    """
    doses = Dose.objects.standing().filter(course=course)
    sent = sending.get()
    if sent is not None:
        doses = doses.filter(received_at__lte=sent.written_at)
    return list(doses.values_list("pk", flat=True))


@transaction.atomic
def correct_course(
    course: Course, *, stamp: Stamp, reason: str, words: str = "", **fields: Any
) -> Course:
    """Write a course again under its number, also for another animal: both are computed again.

    Its doses stay on it. Raises ValidationError by field, Conflict when it was struck.
    """
    before = course.animal
    animal: Animal = fields["animal"]
    withdrawals.lock([before.pk, animal.pk])
    check_course(stamp.happened_at, **fields)
    check_doses_fit(course, stamp.happened_at)
    course = entries.correct(course, stamp=stamp, reason=reason, words=words, **fields)
    withdrawals.follow([before.pk, animal.pk])
    ask_about_course(course)
    for either in {before, animal}:
        ask_about_animal(either)
    return course


def follow_course(course: Course) -> None:
    """What comes of a change to a course or its doses: periods, the milk, questions to the vet."""
    withdrawals.follow([course.animal_id])
    ask_about_course(course)
    ask_about_animal(course.animal)


def may_give(by: Any, course: Course) -> bool:
    """Whether the course lets somebody give its doses who may write doses at all."""
    givers = GIVERS.get(course.may_give)
    return not givers or bool(set(givers) & set(roles_of(by)))


def check_giver(by: Any, course: Course) -> None:
    """Refuse somebody whom the course does not let give its doses. Raises PermissionDenied."""
    if not may_give(by, course):
        who = course.get_may_give_display()
        words = _(MAY_NOT_GIVE).format(medicine=course.medicine, animal=course.animal, who=who)
        raise PermissionDenied(words)


def check_dose(
    at: datetime, course: Course, *, skipped: bool, batch: str = "", expires_on: Any = None
) -> None:
    """Refuse a dose that cannot have been given so. Raises ValidationError by field."""
    if at > timezone.now() + timedelta(minutes=entries.CLOCK_TOLERANCE_MINUTES):
        raise ValidationError({"happened_at": _(NOT_YET).format(at=local(at))})
    check_after_start(at, course.happened_at)
    if skipped:
        return
    check_in_date(at, course.medicine_id, batch, expires_on)


def check_after_start(at: datetime, starts: datetime) -> None:
    """Refuse a dose long before its course. Raises ValidationError at ``happened_at``."""
    earliest = starts - BEFORE_THE_PLAN
    if at < earliest:
        words = _(BEFORE_COURSE).format(
            at=local(at), starts=local(starts), earliest=local(earliest)
        )
        raise ValidationError({"happened_at": words})


def check_doses_fit(course: Course, starts: datetime) -> None:
    """Refuse to correct a course to a start long after a dose that was given on it."""
    first = Dose.objects.standing().filter(course=course).order_by("happened_at").first()
    if first:
        check_after_start(first.happened_at, starts)


def plain_quarters(text: str) -> str:
    """Quarters as they are kept: "LF,RH". Raises ValidationError at ``quarter``."""
    quarters = [part for part in text.upper().replace(" ", ",").split(",") if part]
    if not set(quarters) <= set(QUARTERS):
        raise ValidationError({"quarter": _(NO_QUARTER).format(text=text[:40])})
    return ",".join(quarter for quarter in QUARTERS if quarter in quarters)
