"""Doses that are due: ordered, neither given nor skipped, and their hour is near or past."""

from collections import defaultdict
from datetime import datetime, timedelta

from django.db.models import Count, Max, Q

from herd.models import Course
from herd.words import local

# A round through the barn before each milking looks this far ahead; common practice.
AHEAD = timedelta(hours=12)
LATE = timedelta(hours=2)
# What was ordered longer ago and never given is a question about the course, not a dose to give.
FORGOTTEN = timedelta(days=14)


def due_doses(at: datetime) -> dict[int, list[tuple[datetime, str]]]:
    """By animal: when the next dose of each of her courses is due, and words for it."""
    standing = Q(given__struck_at=None)
    courses = (
        Course.objects.standing()
        .filter(happened_at__lte=at + AHEAD, happened_at__gt=at - FORGOTTEN - timedelta(days=30))
        .select_related("medicine")
        .annotate(
            written=Count("given", filter=standing),
            last=Max("given__happened_at", filter=standing & Q(given__skipped=False)),
        )
        .order_by("happened_at")
    )
    found: dict[int, list[tuple[datetime, str]]] = defaultdict(list)
    for course in courses:
        left = course.doses - course.written
        if left <= 0:
            continue
        interval = timedelta(hours=course.interval_hours)
        planned = course.happened_at + course.written * interval
        due = max(planned, course.last + interval) if course.last else planned
        if due > at + AHEAD or due < at - FORGOTTEN:
            continue
        late = ", late" if at - due > LATE else ""
        words = (
            f"{course.medicine}, dose {course.written + 1} of {course.doses}, {local(due)}{late}"
        )
        found[course.animal_id].append((due, words))
    return found
