"""The entries that keep milk out, and which kinds of them there are at all of some animals."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from django.conf import settings
from django.db.models import Exists, OuterRef, Q, Subquery

from config.asking import ask
from herd.models import (
    Animal,
    Calving,
    Course,
    Dose,
    DoseAnswer,
    DryOff,
    GroupStay,
    HealthEvent,
)
from herd.unfit import SignRule

# Which kinds of entry there are of some animals, struck ones too: of most animals, few.
HAVE = """
    SELECT
        EXISTS (SELECT FROM herd_course WHERE animal_id = ANY(%(animals)s::int4[])),
        EXISTS (SELECT FROM herd_dryoff WHERE animal_id = ANY(%(animals)s::int4[])),
        EXISTS (SELECT FROM herd_calving WHERE dam_id = ANY(%(animals)s::int4[])),
        EXISTS (SELECT FROM herd_animal
                WHERE id = ANY(%(animals)s::int4[]) AND arrived_from_id IS NOT NULL),
        EXISTS (SELECT FROM herd_groupstay
                WHERE animal_id = ANY(%(animals)s::int4[]) AND group_id IS NULL),
        EXISTS (SELECT FROM herd_healthevent
                WHERE animal_id = ANY(%(animals)s::int4[])
                  AND (unfit OR "case" = ANY(%(cases)s::text[])))
"""
SIGNS = """
    SELECT "case", with_fever, keeps_out, scheme, valid_from FROM herd_unfitsign
    WHERE struck_at IS NULL AND scheme = ANY(%(schemes)s::text[])
"""
DOUBLED = """
    SELECT DISTINCT d.course_id
    FROM herd_course AS c
    JOIN herd_dose AS d ON d.course_id = c.id
    JOIN herd_doseanswer AS a ON a.dose_id = d.id
    WHERE c.animal_id = ANY(%(animals)s::int4[]) AND d.struck_at IS NULL
      AND a.struck_at IS NULL AND a.says = %(two)s
"""


class Have(NamedTuple):
    """Whether there is any entry of a kind; ``left``: a stay with which an animal left; ``unfit``:
    a sign that somebody called unfit, or of a case that keeps milk out by itself."""

    courses: bool
    dry_offs: bool
    calvings: bool
    arrivals: bool
    left: bool
    unfit: bool

    @classmethod
    def of(cls, animals: Sequence[int], rules: Sequence[SignRule] = ()) -> "Have":
        """Ask for all of them in one statement."""
        if not animals:
            return cls(*(False for _ in cls._fields))
        (row,) = ask(
            HAVE, {"animals": list(animals), "cases": sorted({rule.case for rule in rules})}
        )
        return cls(*row)


def courses_of(animals: Sequence[int]) -> dict[int, Course]:
    """The courses of animals by their key, struck ones too."""
    courses = Course.objects.filter(animal__in=animals).select_related("medicine")
    return {course.pk: course for course in courses}


def doses_of(courses: Mapping[int, Course]) -> list[Dose]:
    """The standing doses of courses, in the order they were given."""
    doses = list(Dose.objects.standing().filter(course__in=courses).order_by("happened_at"))
    for dose in doses:
        dose.course = courses[dose.course_id]
    return doses


def dry_offs_of(animals: Sequence[int]) -> Any:
    return DryOff.objects.standing().filter(animal__in=animals).select_related("medicine")


def calvings_of(animals: Sequence[int]) -> Any:
    return Calving.objects.standing().filter(dam__in=animals).order_by("happened_at")


def arrivals_of(animals: Sequence[int]) -> Any:
    """Those of the animals that came from elsewhere."""
    return Animal.objects.standing().filter(pk__in=animals, arrived_from__isnull=False)


def returns_of(animals: Iterable[int] | None = None) -> Any:
    """Stays with which animals came back that had left the estate: each is an arrival again.

    ``animals``: of these only; None: of all.
    """
    left = GroupStay.objects.standing().filter(
        animal=OuterRef("animal"), group=None, during__endswith=OuterRef("happened_at")
    )
    stays = GroupStay.objects.standing().filter(Exists(left), group__isnull=False)
    if animals is not None:
        stays = stays.filter(animal__in=animals)
    return stays.order_by("happened_at")


def sign_rules() -> tuple[SignRule, ...]:
    """The standing rows of the schemes the estate follows, and of its own."""
    return tuple(SignRule(*row) for row in ask(SIGNS, {"schemes": sorted(followed())}))


def followed() -> set[str]:
    """The schemes whose rows count for the herd: those the estate chose, the Union, its own."""
    return {*settings.ESTATE_SCHEMES, "EU", "estate"}


def unfit_of(animals: Sequence[int], rules: Sequence[SignRule] = ()) -> Any:
    """Standing signs that make milk unfit, each with when it was first ``settled`` (or None).

    Those somebody called unfit, and cases that ``rules`` name; what settles a sign is none itself.
    """
    settling = HealthEvent.objects.standing().filter(settles=OuterRef("pk"))
    first = settling.order_by("happened_at").values("happened_at")[:1]
    named = Q(case__in={rule.case for rule in rules}, settles=None)
    unfit = HealthEvent.objects.standing().filter(Q(unfit=True) | named, animal__in=animals)
    return unfit.annotate(settled=Subquery(first)).order_by("happened_at")


def doubled_courses(animals: Sequence[int]) -> set[int]:
    """Courses of which the vet said that two doses were given at once."""
    asked = {"animals": list(animals), "two": str(DoseAnswer.Says.TWO)}
    return {course for (course,) in ask(DOUBLED, asked)}
