"""Questions to the vet about a course: what was written does not fit what was ordered."""

from datetime import timedelta
from itertools import pairwise

from config.notices import close_gone, raise_notice
from config.roles import VET
from herd.models import Course, Dose

# Two entries of one dose by two people lie closer together than this share of the interval;
# common practice.
SAME_DOSE_SHARE = 0.25

ONE_OR_TWO = "{animal}: {medicine} was written twice, {first} and {second}. One dose or two?"
TOO_MANY = "{animal}: {given} doses of {medicine} written, {ordered} ordered. Off leaflet?"
WITHOUT_PLAN = "{animal}: a dose of {medicine} was given, and its course is struck."

WITHHELD_MEANWHILE = "Until then the clock runs from the later one."
SET_THE_PERIOD = "The printed period does not hold for more doses; set one of your own."
NOT_UNTIL_SAID = "Her milk stays out of the tank until you re-enter the dose under a course."


def ask_about_course(course: Course) -> None:
    """Raise the questions a course gives cause for, and close those it no longer does."""
    course = Course.objects.select_related("animal", "medicine").get(pk=course.pk)
    doses = list(
        Dose.objects.standing().filter(course=course, skipped=False).order_by("happened_at")
    )
    asked = dict(questions(course, doses))
    prefix = f"course:{course.uuid}:"
    for cause, (what, otherwise) in asked.items():
        raise_notice(
            cause=f"{prefix}{cause}",
            role=VET,
            what=what,
            otherwise=otherwise,
            url=course.animal.get_absolute_url(),
        )
    close_gone(prefix, {f"{prefix}{cause}" for cause in asked})


def questions(course: Course, doses: list[Dose]) -> list[tuple[str, tuple[str, str]]]:
    """Cause and words of every question about a course with these standing doses, in order."""
    names = {"animal": course.animal, "medicine": course.medicine}
    if course.is_struck:
        words = WITHOUT_PLAN.format(**names)
        return [("without-plan", (words, NOT_UNTIL_SAID))] if doses else []
    asked = []
    close = timedelta(hours=course.interval_hours) * SAME_DOSE_SHARE
    for first, second in pairwise(doses):
        if second.happened_at - first.happened_at < close:
            shown = {
                "first": first.local_happened_at.strftime("%d %b %H:%M"),
                "second": second.local_happened_at.strftime("%H:%M"),
            }
            words = ONE_OR_TWO.format(**names, **shown)
            asked.append((f"twice:{second.uuid}", (words, WITHHELD_MEANWHILE)))
    if len(doses) > course.doses and not course.off_leaflet:
        words = TOO_MANY.format(**names, given=len(doses), ordered=course.doses)
        asked.append(("too-many", (words, SET_THE_PERIOD)))
    return asked
