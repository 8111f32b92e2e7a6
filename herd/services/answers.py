"""What the vet answers to a question about a dose, and what comes of it in the same act."""

from dataclasses import replace
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local
from config.entries import Stamp, offset_minutes
from config.errors import Conflict
from config.language import in_estate_language
from herd.models import Dose, DoseAnswer
from herd.services import withdrawals
from herd.services.questions import are_near, came_twice, first_of_two
from herd.services.treatments import follow_course, record_dose

Says = DoseAnswer.Says

STRUCK = N_("The dose {dose} was struck; nothing is asked about it any more. Nothing was written.")
NOT_TWICE = N_(
    "{at} came only once, so it was neither before nor after. Expected an answer about one dose or "
    "two, or that it fits the leaflet."
)
NO_SECOND = N_(
    "No other dose of this course is near {at}, so there are no two to choose from. Expected the "
    "dose that was written twice."
)
WRITTEN_TWICE = N_("one dose, written twice")
BEFORE_THE_CLOCKS = N_("before the clocks went back")


@transaction.atomic
def record_answer(*, stamp: Stamp, dose: Dose, says: str) -> DoseAnswer:
    """Write what the vet says about a dose.

    “one” strikes the one of the two that was written later; “two” leaves her NOT until a period is
    set; “before” writes the dose again an hour earlier. Raises ValidationError at ``says`` for an
    answer to what was not asked, Conflict about a struck dose.
    """
    withdrawals.lock([dose.course.animal_id])
    dose = Dose.objects.select_related("course__animal", "course__medicine").get(pk=dose.pk)
    if dose.is_struck:
        raise Conflict(_(STRUCK).format(dose=dose))
    if says in (Says.BEFORE, Says.AFTER) and not came_twice(dose):
        raise ValidationError({"says": _(NOT_TWICE).format(at=local(dose.happened_at))})
    near = near_dose(dose) if says in (Says.ONE, Says.TWO) else None
    if says in (Says.ONE, Says.TWO) and near is None:
        raise ValidationError({"says": _(NO_SECOND).format(at=local(dose.happened_at))})
    answer = entries.record(DoseAnswer, stamp=stamp, dose=dose, says=says)
    if near is not None and says == Says.ONE:
        later = max(dose, near, key=lambda either: (either.written_at, either.pk))
        strike_for(later, stamp, "twice", WRITTEN_TWICE)
    if says == Says.BEFORE:
        write_earlier(dose, stamp)
    follow_course(dose.course)
    return answer


@transaction.atomic
def strike_answer(
    answer: DoseAnswer, *, by: Any, reason: str, words: str = "", at: datetime | None = None
) -> DoseAnswer:
    """Take an answer back: what it answered is asked again. What it struck stays struck."""
    withdrawals.lock([answer.dose.course.animal_id])
    answer = entries.strike(answer, by=by, reason=reason, words=words, at=at)
    follow_course(answer.dose.course)
    return answer


def near_dose(dose: Dose) -> Dose | None:
    """The dose of the same course that may be the same one, the nearest in time; None: none is."""
    others = Dose.objects.standing().filter(course=dose.course, skipped=False).exclude(pk=dose.pk)
    near = [other for other in others if are_near(dose.course, dose, other)]
    return min(near, key=lambda other: abs(other.happened_at - dose.happened_at), default=None)


@in_estate_language()
def strike_for(dose: Dose, stamp: Stamp, reason: str, words: str) -> Dose:
    """Strike a dose in the name of who answered; the answer hangs on it."""
    return entries.strike(dose, by=stamp.by, reason=reason, words=_(words), hanging_may_stay=True)


def write_earlier(dose: Dose, stamp: Stamp) -> Dose:
    """Write a dose again at the earlier of the two moments its time can mean."""
    struck = strike_for(dose, stamp, "time", BEFORE_THE_CLOCKS)
    earlier = first_of_two(dose)
    moved = replace(stamp, happened_at=earlier, zone_offset=offset_minutes(earlier), uuid=None)
    return record_dose(
        stamp=replace(moved, replaces=struck),
        course=dose.course,
        quantity=dose.quantity,
        quarter=dose.quarter,
        batch=dose.batch,
        expires_on=dose.expires_on,
        skipped=dose.skipped,
        why_skipped=dose.why_skipped,
    )
