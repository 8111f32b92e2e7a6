"""The next dose of each course: when it is due, where she stands, and what was given last."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, F, OuterRef, Subquery
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from herd.models import Course, Dose, Group, GroupStay
from herd.rules_in_force import DOSE_LATE_AFTER, DOSE_RUNG_BEFORE, rule_in_force

# What was ordered longer ago and never given is a question about the course, not a dose to give.
FORGOTTEN = timedelta(days=14)
# A course runs at most this long after its first planned dose: 14 doses, a week apart.
LONGEST_COURSE = timedelta(days=14 * 7)


@dataclass(frozen=True)
class Due:
    """A dose that was neither given nor skipped yet. ``group``: where she stands, None: nowhere."""

    course: Course
    at: datetime
    number: int
    group: Group | None
    last: Dose | None

    @property
    def words(self) -> str:
        """Which dose of what."""
        return _("{medicine}, dose {number} of {doses}").format(
            medicine=self.course.medicine, number=self.number, doses=self.course.doses
        )

    def hours_late(self, now: datetime) -> float:
        """Hours past its time; below 0 when it is still to come."""
        return (now - self.at).total_seconds() / 3600


def due_doses(at: datetime) -> list[tuple[Due, bool]]:
    """The doses to give in the round at ``at``, in the order of the walk, and whether each is late.

    How long before it is due a dose belongs to the round, and how long after it is late, are dated
    rules. Without the first only what is due already is listed, without the second none is late.
    """
    before, late = rule_in_force(DOSE_RUNG_BEFORE, at), rule_in_force(DOSE_LATE_AFTER, at)
    # A dose that is due at this very moment belongs to the round.
    until = at + timedelta(hours=float(before or 0)) + timedelta(microseconds=1)
    return [(one, late is not None and one.hours_late(at) >= late) for one in next_doses(at, until)]


def next_doses(at: datetime, until: datetime) -> list[Due]:
    """The next dose of every course that is due before ``until``, in the order of the walk.

    ``at``: the moment of asking; animals that left the estate by then are left out. Three
    statements.
    """
    of_course = Dose.objects.standing().filter(course=OuterRef("pk")).order_by().values("course")
    count = Subquery(of_course.annotate(count=Count("pk")).values("count"))
    courses = list(
        Course.objects.standing()
        .filter(happened_at__lt=until, happened_at__gt=at - FORGOTTEN - LONGEST_COURSE)
        # Of the courses of a season nearly all are over.
        .alias(doses_written=Coalesce(count, 0))
        .filter(doses_written__lt=F("doses"))
        .select_related("animal", "medicine")
    )
    doses: dict[int, list[Dose]] = {}
    written = Dose.objects.standing().filter(course__in=[course.pk for course in courses])
    for dose in written.order_by("happened_at", "pk"):
        doses.setdefault(dose.course_id, []).append(dose)
    stays = GroupStay.objects.at(at).filter(animal__in={course.animal_id for course in courses})
    groups = {stay.animal_id: stay.group for stay in stays.select_related("group")}
    found = [next_dose(course, doses.get(course.pk, []), groups) for course in courses]
    due = [one for one in found if one and at - FORGOTTEN < one.at < until]
    return sorted((one for one in due if one.group), key=walk_order)


def next_dose(course: Course, doses: Iterable[Dose], groups: dict[int, Group | None]) -> Due | None:
    """The next dose of a course; None when all were given or skipped.

    Counted from the last one given when that was later than planned.
    """
    written = list(doses)
    if len(written) >= course.doses:
        return None
    interval = timedelta(hours=course.interval_hours)
    given = [dose for dose in written if not dose.skipped]
    moments = [course.happened_at + len(written) * interval]
    if given:
        moments.append(given[-1].happened_at + interval)
    group = groups.get(course.animal_id)
    return Due(course, max(moments), len(written) + 1, group, given[-1] if given else None)


def walk_order(due: Due) -> tuple[int, int, datetime]:
    """Group by group in the order of the walk through the barn; then what is due first."""
    assert due.group is not None
    place = due.group.walk_place
    return (10**6 if place is None else place, due.group.number, due.at)
