"""Questions to the vet: what was written of a course does not fit what was ordered or printed.

Nothing waits for the answer: until then the clock runs from the latest dose, and the later end.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import combinations, pairwise
from uuid import UUID

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import estate_zone, local
from config.language import in_estate_language
from config.notices import close_gone, raise_notice
from config.roles import VET
from herd.models import Animal, Course, Dose, DoseAnswer, WithdrawalPeriod
from herd.rules_in_force import PRESCRIPTION_DAYS, rule_in_force

# Two doses closer together than this share of the interval may be one, written by two people;
# one further from its time than this may not be on the leaflet any more. Common practice.
NEAR, OFF_TIME = 0.25, 0.25

Says = DoseAnswer.Says
# What the vet answered to questions about each dose, by its number.
Answers = dict[UUID, set[str]]

ONE_OR_TWO = N_("{animal}: {medicine} was written twice, {first} and {second}. One dose or two?")
IRREGULAR = N_(
    "{animal}: {medicine} was given {hours:g} h apart, {ordered} h ordered. Off leaflet?"
)
DOUBLE = N_("{animal}: two doses of {medicine} were given, {first} and {second}. Which period?")
WHICH_HOUR = N_(
    "{animal}: {medicine} is written at {at}, a time that came twice that night. Was it before or "
    "after the clocks went back?"
)
OUT_OF_DATE = N_(
    "{animal}: {medicine} was prescribed on {day} and first given on {given}; a prescription for "
    "it is valid {days} days. Write a new one?"
)
TOO_MANY = N_("{animal}: {given} doses of {medicine} written, {ordered} ordered. Off leaflet?")
WITHOUT_PLAN = N_("{animal}: a dose of {medicine} was given, and its course is struck.")
TOGETHER = N_("{animal}: {one} and {other} at the same time, both against bacteria. Off leaflet?")

FROM_THE_LATER = N_("Until you say, the clock runs from the later one.")
FROM_THE_SECOND = N_("Until you say, the clock runs from the later of the two.")
SEE_THE_LAW = N_("The authority may ask for it; see what the law of your country says.")
SET_THE_PERIOD = N_("The printed period may not hold; re-enter the course with one of your own.")
NOT_UNTIL_SET = N_("Her milk stays out of the tank until you have set a period off the leaflet.")
NOT_UNTIL_SAID = N_("Her milk stays out of the tank until you re-enter the dose under a course.")


@dataclass(frozen=True)
class Question:
    """What to ask, and what holds until it is answered; ``cause`` tells one from another."""

    cause: str
    what: str
    otherwise: str
    url: str = ""


def ask_about_course(course: Course) -> None:
    """Raise the questions a course gives cause for, and close those it no longer does."""
    course = Course.objects.select_related("animal", "medicine", "plan").get(pk=course.pk)
    doses = Dose.objects.standing().filter(course=course, skipped=False).order_by("happened_at")
    asked = questions(course, list(doses), answers_about(course))
    put(course.animal, f"course:{course.uuid}:", asked)


def answers_about(course: Course) -> Answers:
    """The standing answers about the doses of a course."""
    answers = DoseAnswer.objects.standing().filter(dose__course=course)
    found: Answers = {}
    for number, says in answers.values_list("dose__uuid", "says"):
        found.setdefault(number, set()).add(says)
    return found


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


@in_estate_language()
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
            url=question.url or animal.get_absolute_url(),
        )
    close_gone(prefix, causes)


def questions(course: Course, doses: list[Dose], answers: Answers) -> Iterator[Question]:
    """The questions about a course with these standing doses, in the order they were given."""
    names = {"animal": course.animal, "medicine": course.medicine}
    yield from about_the_clock(course, doses, answers)
    if course.is_struck:
        if doses:
            yield Question("without-plan", _(WITHOUT_PLAN).format(**names), _(NOT_UNTIL_SAID))
        return
    for first, second in pairwise(doses):
        yield from about_two(course, first, second, answers)
    # Two written so close together are asked about as such already.
    near = sum(are_near(course, first, second) for first, second in pairwise(doses))
    if len(doses) - near > course.doses and not course.off_leaflet:
        words = _(TOO_MANY).format(**names, given=len(doses) - near, ordered=course.doses)
        yield Question("too-many", words, _(SET_THE_PERIOD))
    yield from about_prescription(course, doses)


def about_two(course: Course, first: Dose, second: Dose, answers: Answers) -> Iterator[Question]:
    """What to ask of one dose and the next: one of them or two, and whether at the right time."""
    names = {"animal": course.animal, "medicine": course.medicine}
    said = answers.get(first.uuid, set()) | answers.get(second.uuid, set())
    if are_near(course, first, second):
        times = {"first": local(first.happened_at), "second": local(second.happened_at)}
        if Says.TWO not in said:
            words = _(ONE_OR_TWO).format(**names, **times)
            yield Question(f"twice:{second.uuid}", words, _(FROM_THE_LATER), answer_page(second))
        elif not course.off_leaflet:
            words = _(DOUBLE).format(**names, **times)
            page = reverse("kind-reenter", args=("courses", course.uuid))
            yield Question(f"double:{second.uuid}", words, _(NOT_UNTIL_SET), page)
    elif is_off_time(course, first, second) and Says.FITS not in answers.get(second.uuid, set()):
        hours = round((second.happened_at - first.happened_at).total_seconds() / 3600, 1)
        words = _(IRREGULAR).format(**names, hours=hours, ordered=course.interval_hours)
        yield Question(f"irregular:{second.uuid}", words, _(SET_THE_PERIOD), answer_page(second))


def about_the_clock(course: Course, doses: list[Dose], answers: Answers) -> Iterator[Question]:
    """Ask of each dose in the hour that comes twice which of the two it was."""
    for dose in doses:
        if came_twice(dose) and not {Says.BEFORE, Says.AFTER} & answers.get(dose.uuid, set()):
            at = local(dose.happened_at)
            words = _(WHICH_HOUR).format(animal=course.animal, medicine=course.medicine, at=at)
            yield Question(f"clock:{dose.uuid}", words, _(FROM_THE_SECOND), answer_page(dose))


def about_prescription(course: Course, doses: list[Dose]) -> Iterator[Question]:
    """Ask for a new prescription when the first dose came after its days had run out."""
    if not (course.medicine.antimicrobial and course.prescribed_on):
        return
    first = doses[0].happened_at if doses else course.happened_at
    days = rule_in_force(PRESCRIPTION_DAYS, first)
    given = timezone.localdate(first)
    if days is not None and given > course.prescribed_on + timedelta(days=int(days)):
        words = _(OUT_OF_DATE).format(
            animal=course.animal,
            medicine=course.medicine,
            day=course.prescribed_on.isoformat(),
            given=given.isoformat(),
            days=int(days),
        )
        yield Question("prescription", words, _(SEE_THE_LAW))


def are_near(course: Course, first: Dose, second: Dose) -> bool:
    """Whether two doses are so close that they may be one, written by two people."""
    apart = abs(second.happened_at - first.happened_at)
    return apart < timedelta(hours=course.interval_hours) * NEAR


def is_off_time(course: Course, first: Dose, second: Dose) -> bool:
    """Whether a dose came so early or late after the one before that the leaflet may not hold."""
    interval = timedelta(hours=course.interval_hours)
    apart = second.happened_at - first.happened_at
    return abs(apart - interval) > interval * OFF_TIME and not course.off_leaflet


def came_twice(dose: Dose) -> bool:
    """Whether a dose stands at the second of two moments that the clock shows alike.

    A typed time is read so; one that a phone's clock took has seconds, and is sure.
    """
    at = dose.happened_at.astimezone(estate_zone())
    return at.fold == 1 and not at.second and not at.microsecond


def first_of_two(dose: Dose) -> datetime:
    """The earlier of the two moments that the clock shows like this dose's, in UTC."""
    at = dose.happened_at.astimezone(estate_zone())
    return at.replace(fold=0).astimezone(UTC)


def answer_page(dose: Dose) -> str:
    """Where the vet answers a question about a dose."""
    return f"{reverse('kind-new', args=('dose-answers',))}?dose={dose.uuid}"


def together(animal: Animal, running: list[WithdrawalPeriod]) -> Iterator[Question]:
    """The questions about periods of medicines against bacteria that overlap.

    A course for which the vet has set a period is answered.
    """
    for one, other in combinations(running, 2):
        if one.course is None or other.course is None or not overlap(one, other):
            continue
        if not (one.course.off_leaflet or other.course.off_leaflet):
            names = {"one": one.course.medicine, "other": other.course.medicine}
            words = _(TOGETHER).format(animal=animal, **names)
            yield Question(f"{one.source}:{other.source}", words, _(SET_THE_PERIOD))


def overlap(one: WithdrawalPeriod, other: WithdrawalPeriod) -> bool:
    """Whether two periods run at the same time."""
    begins = max(one.during.lower, other.during.lower)
    ends = [period.during.upper for period in (one, other) if period.during.upper]
    return all(begins < end for end in ends)
