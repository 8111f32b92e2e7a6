"""Questions to the vet: what was written of a course does not fit what was ordered or printed.

Nothing waits for the answer: until then the clock runs from the latest dose, and the later end.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import combinations, pairwise

from django.utils import timezone

from config.notices import close_gone, raise_notice
from config.roles import VET
from herd.models import Animal, Course, Dose, WithdrawalPeriod
from herd.words import local

# Two doses closer together than this share of the interval may be one, written by two people;
# one further from its time than this may not be on the leaflet any more. Common practice.
NEAR, OFF_TIME = 0.25, 0.25

ONE_OR_TWO = "{animal}: {medicine} was written twice, {first} and {second}. One dose or two?"
IRREGULAR = "{animal}: {medicine} was given {hours:g} h apart, {ordered} h ordered. Off leaflet?"
TOO_MANY = "{animal}: {given} doses of {medicine} written, {ordered} ordered. Off leaflet?"
WITHOUT_PLAN = "{animal}: a dose of {medicine} was given, and its course is struck."
TOGETHER = "{animal}: {one} and {other} at the same time, both against bacteria. Off leaflet?"

FROM_THE_LATER = "Until you say, the clock runs from the later one."
SET_THE_PERIOD = "The printed period may not hold; re-enter the course with one of your own."
NOT_UNTIL_SAID = "Her milk stays out of the tank until you re-enter the dose under a course."


@dataclass(frozen=True)
class Question:
    """What to ask, and what holds until it is answered; ``cause`` tells one from another."""

    cause: str
    what: str
    otherwise: str


def ask_about_course(course: Course) -> None:
    """Raise the questions a course gives cause for, and close those it no longer does."""
    course = Course.objects.select_related("animal", "medicine").get(pk=course.pk)
    doses = Dose.objects.standing().filter(course=course, skipped=False).order_by("happened_at")
    put(course.animal, f"course:{course.uuid}:", questions(course, list(doses)))


def ask_about_animal(animal: Animal, now: datetime | None = None) -> None:
    """Ask about medicines against bacteria that withhold her at once, and close what is over."""
    now = now or timezone.now()
    running = (
        WithdrawalPeriod.objects.filter(animal=animal, course__medicine__antimicrobial=True)
        .exclude(during__isempty=True)
        .exclude(during__endswith__lte=now)
        .select_related("course__medicine")
        .order_by("course__happened_at", "pk")
    )
    put(animal, f"together:{animal.uuid}:", together(animal, list(running)))


def put(animal: Animal, prefix: str, asked: Iterator[Question]) -> None:
    """Make the open notices under a prefix just these."""
    causes = set()
    for question in asked:
        causes.add(f"{prefix}{question.cause}")
        raise_notice(
            cause=f"{prefix}{question.cause}",
            role=VET,
            what=question.what,
            otherwise=question.otherwise,
            where=str(animal),
            url=animal.get_absolute_url(),
        )
    close_gone(prefix, causes)


def questions(course: Course, doses: list[Dose]) -> Iterator[Question]:
    """The questions about a course with these standing doses, in the order they were given."""
    names = {"animal": course.animal, "medicine": course.medicine}
    if course.is_struck:
        if doses:
            yield Question("without-plan", WITHOUT_PLAN.format(**names), NOT_UNTIL_SAID)
        return
    interval = timedelta(hours=course.interval_hours)
    for first, second in pairwise(doses):
        apart = second.happened_at - first.happened_at
        if apart < interval * NEAR:
            times = {"first": local(first.happened_at), "second": local(second.happened_at)}
            words = ONE_OR_TWO.format(**names, **times)
            yield Question(f"twice:{second.uuid}", words, FROM_THE_LATER)
        elif abs(apart - interval) > interval * OFF_TIME and not course.off_leaflet:
            hours = round(apart.total_seconds() / 3600, 1)
            words = IRREGULAR.format(**names, hours=hours, ordered=course.interval_hours)
            yield Question(f"irregular:{second.uuid}", words, SET_THE_PERIOD)
    if len(doses) > course.doses and not course.off_leaflet:
        words = TOO_MANY.format(**names, given=len(doses), ordered=course.doses)
        yield Question("too-many", words, SET_THE_PERIOD)


def together(animal: Animal, running: list[WithdrawalPeriod]) -> Iterator[Question]:
    """The questions about periods of medicines against bacteria that overlap.

    A course for which the vet has set a period is answered.
    """
    for one, other in combinations(running, 2):
        if one.course is None or other.course is None or not overlap(one, other):
            continue
        if not (one.course.off_leaflet or other.course.off_leaflet):
            names = {"one": one.course.medicine, "other": other.course.medicine}
            words = TOGETHER.format(animal=animal, **names)
            yield Question(f"{one.source}:{other.source}", words, SET_THE_PERIOD)


def overlap(one: WithdrawalPeriod, other: WithdrawalPeriod) -> bool:
    """Whether two periods run at the same time."""
    begins = max(one.during.lower, other.during.lower)
    ends = [period.during.upper for period in (one, other) if period.during.upper]
    return all(begins < end for end in ends)
