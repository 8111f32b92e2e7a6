"""Courses and doses: ordered by the vet, given in the barn, struck and written again.

Every change computes the animal's withdrawal periods again in the same transaction, and has the
milk that exists already looked at.
"""

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from config import entries
from config.entries import Stamp
from herd import withdrawal
from herd.models import Animal, Course, Dose, Group, GroupStay, Medicine
from herd.services import withdrawals
from herd.services.questions import ask_about_animal, ask_about_course
from herd.withdrawal import Estate, Leaflet, Ordered
from herd.words import local

# The vet writes in the morning what is given from the evening on; common practice, at most this.
ORDERED_AHEAD = timedelta(days=14)
# A dose may be given this long before the first planned one; common practice.
BEFORE_THE_PLAN = timedelta(hours=12)
IN_MILK = (Group.Use.FRESH, Group.Use.MILKING, Group.Use.HOSPITAL)
QUARTERS = ("LF", "RF", "LH", "RH")

TOO_FAR_AHEAD = "{at} is more than {days} days ahead. Expected the time of the first planned dose."
NEVER_IN_MILK = (
    "{medicine} is not for animals that give milk, and {animal} stands in {group}. Choose another "
    "product; it was not written."
)
OFF_LEAFLET = (
    "{medicine} says {leaflet} on its leaflet, not {ordered}. Tick “off leaflet” and set your own "
    "period: the printed one does not hold."
)
OWN_PERIOD_MISSING = (
    "Off leaflet the vet must set a milk period in hours; the least is {floor} h (Reg (EU) 2019/6 "
    "Art. 115)."
)
BELOW_FLOOR = (
    "{own} {unit} is less than the floor. The least for {medicine} {how} is {floor} {unit}; enter "
    "that or more."
)
NO_RULE = "No rule says the least period off leaflet on {day}. Enter the period rules first."
BEFORE_COURSE = (
    "This dose is of {at}, and its course starts {starts}. Expected a time from {earliest} on; for "
    "an earlier dose re-enter the course with its first dose."
)
NOT_YET = "{at} has not come yet. A dose tells what was given; enter it when it is in the cow."
EXPIRED = (
    "This pack expired on {expires}, before the dose of {at}. If the date is right, give another "
    "pack; if it was given all the same, leave the date out and tell the vet."
)
NO_QUARTER = "“{text}” is no quarter. Expected LF, RF, LH or RH; several with commas."


@transaction.atomic
def record_course(*, stamp: Stamp, animal: Animal, medicine: Medicine, **fields: Any) -> Course:
    """Order a course for one animal; it happens with its first planned dose, which may be ahead.

    Her milk is withheld from then on. Raises ValidationError by field.
    """
    withdrawals.lock([animal.pk])
    check_course(stamp.happened_at, animal=animal, medicine=medicine, **fields)
    course = Course(**stamp.columns(), animal=animal, medicine=medicine, **fields)
    course.full_clean()
    course.save(force_insert=True)
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
    when the animal is back. Raises ValidationError by field.
    """
    # Animals are locked before courses everywhere. The course is read again under the lock: a
    # correction may have moved it to another animal meanwhile.
    withdrawals.lock([course.animal_id])
    course = Course.objects.select_for_update(of=("self",), no_key=True).get(pk=course.pk)
    withdrawals.lock([course.animal_id])
    check_dose(stamp.happened_at, course, expires_on, skipped)
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
    dose = entries.strike(dose, by=by, reason=reason, words=words, at=at)
    follow_course(dose.course)
    return dose


@transaction.atomic
def strike_course(
    course: Course, *, by: Any, reason: str, words: str = "", at: datetime | None = None
) -> Course:
    """Strike a course and, in the same act, the doses written on it.

    A dose that arrives later all the same is kept as one without a plan.
    """
    withdrawals.lock([course.animal_id])
    course = entries.strike(course, by=by, reason=reason, words=words, at=at, hanging_may_stay=True)
    for dose in Dose.objects.standing().filter(course=course):
        entries.strike(dose, by=by, reason=reason, words=words, at=at)
    follow_course(course)
    return course


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


def check_course(
    at: datetime,
    *,
    animal: Animal,
    medicine: Medicine,
    doses: int,
    interval_hours: int = 24,
    off_leaflet: bool = False,
    own_milk_hours: Decimal | None = None,
    own_meat_days: int | None = None,
    **others: Any,
) -> None:
    """Refuse an order that the leaflet, the floors or the animal rule out.

    Raises ValidationError by field.
    """
    if at - timezone.now() > ORDERED_AHEAD:
        words = TOO_FAR_AHEAD.format(at=local(at), days=ORDERED_AHEAD.days)
        raise ValidationError({"happened_at": words})
    estate = Estate(withdrawals.estate_zone(), withdrawals.dated_rules())
    leaflets = withdrawals.leaflets_of([medicine.pk]).get(medicine.pk, ())
    ordered = Ordered(at, doses, interval_hours, leaflets=leaflets)
    last = withdrawal.last_dose(ordered) or at
    leaflet = estate.leaflet(leaflets, last)
    check_in_milk(at, animal, medicine, leaflet)
    if not off_leaflet:
        check_leaflet(medicine, doses, interval_hours, last)
    check_own(
        last,
        estate,
        leaflet,
        medicine=medicine,
        off_leaflet=off_leaflet,
        own_milk_hours=own_milk_hours,
        own_meat_days=own_meat_days,
    )


def check_in_milk(
    at: datetime, animal: Animal, medicine: Medicine, leaflet: Leaflet | None
) -> None:
    """Refuse a product not for animals in milk. Raises ValidationError at ``medicine``."""
    if leaflet is None or leaflet.milk != withdrawal.NEVER:
        return
    stay = GroupStay.objects.at(at).filter(animal=animal).select_related("group").first()
    if stay and stay.group and stay.group.use in IN_MILK:
        words = NEVER_IN_MILK.format(medicine=medicine, animal=animal, group=stay.group)
        raise ValidationError({"medicine": words})


def check_leaflet(medicine: Medicine, doses: int, interval_hours: int, at: datetime) -> None:
    """Refuse more doses or shorter intervals than printed. Raises ValidationError by field."""
    day = timezone.localdate(at)
    versions = medicine.versions.filter(struck_at=None, valid_from__lte=day)
    printed = versions.order_by("-valid_from").first()
    if printed is None:
        return
    if printed.leaflet_doses and doses > printed.leaflet_doses:
        leaflet, ordered = f"at most {printed.leaflet_doses} doses", f"{doses} doses"
        words = OFF_LEAFLET.format(medicine=medicine, leaflet=leaflet, ordered=ordered)
        raise ValidationError({"doses": words})
    if doses > 1 and printed.leaflet_interval and interval_hours < printed.leaflet_interval:
        leaflet, ordered = f"{printed.leaflet_interval} h between doses", f"{interval_hours} h"
        words = OFF_LEAFLET.format(medicine=medicine, leaflet=leaflet, ordered=ordered)
        raise ValidationError({"interval_hours": words})


def check_own(
    at: datetime,
    estate: Estate,
    leaflet: Leaflet | None,
    *,
    medicine: Medicine,
    off_leaflet: bool,
    own_milk_hours: Decimal | None,
    own_meat_days: int | None,
) -> None:
    """Refuse a period of the vet's own that is shorter than it may be.

    On the leaflet the printed period is the least, off it the floor. Raises ValidationError at
    ``own_milk_hours`` or ``own_meat_days``.
    """
    how = "off leaflet" if off_leaflet else "on its leaflet"
    milk = leaflet.milk_hours if leaflet and leaflet.milk == withdrawal.HOURS else None
    meat = leaflet.meat_days if leaflet else None
    if off_leaflet:
        milk = withdrawal.milk_floor(leaflet, estate, at)
        meat = withdrawal.meat_floor(leaflet, estate, at)
        if milk is None:
            day = estate.day(at).isoformat()
            raise ValidationError({"own_milk_hours": NO_RULE.format(day=day)})
        if own_milk_hours is None:
            words = OWN_PERIOD_MISSING.format(floor=withdrawal.plain(milk))
            raise ValidationError({"own_milk_hours": words})
    if milk is not None and own_milk_hours is not None and own_milk_hours < milk:
        own, floor = withdrawal.plain(own_milk_hours), withdrawal.plain(milk)
        words = BELOW_FLOOR.format(own=own, unit="h", medicine=medicine, how=how, floor=floor)
        raise ValidationError({"own_milk_hours": words})
    if meat is not None and own_meat_days is not None and own_meat_days < meat:
        words = BELOW_FLOOR.format(
            own=own_meat_days, unit="days", medicine=medicine, how=how, floor=meat
        )
        raise ValidationError({"own_meat_days": words})


def check_dose(at: datetime, course: Course, expires_on: Any, skipped: bool) -> None:
    """Refuse a dose that cannot have been given so. Raises ValidationError by field."""
    if at > timezone.now() + timedelta(minutes=entries.CLOCK_TOLERANCE_MINUTES):
        raise ValidationError({"happened_at": NOT_YET.format(at=local(at))})
    check_after_start(at, course.happened_at)
    if expires_on and not skipped and expires_on < timezone.localdate(at):
        words = EXPIRED.format(expires=expires_on.isoformat(), at=local(at))
        raise ValidationError({"expires_on": words})


def check_after_start(at: datetime, starts: datetime) -> None:
    """Refuse a dose long before its course. Raises ValidationError at ``happened_at``."""
    earliest = starts - BEFORE_THE_PLAN
    if at < earliest:
        words = BEFORE_COURSE.format(at=local(at), starts=local(starts), earliest=local(earliest))
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
        raise ValidationError({"quarter": NO_QUARTER.format(text=text[:40])})
    return ",".join(quarter for quarter in QUARTERS if quarter in quarters)
