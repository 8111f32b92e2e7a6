"""Entries besides courses that keep milk out: returns, unfit signs, doses given twice."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.db.models import Exists, OuterRef, Subquery

from herd.models import DoseAnswer, GroupStay, HealthEvent


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


def unfit_of(animals: Sequence[int]) -> Any:
    """Standing signs that make milk unfit, each with when it was first ``settled`` (or None)."""
    settling = HealthEvent.objects.standing().filter(settles=OuterRef("pk"))
    first = settling.order_by("happened_at").values("happened_at")[:1]
    unfit = HealthEvent.objects.standing().filter(unfit=True, animal__in=animals)
    return unfit.annotate(settled=Subquery(first)).order_by("happened_at")


def doubled_courses(animals: Sequence[int]) -> set[int]:
    """Courses of which the vet said that two doses were given at once."""
    answers = DoseAnswer.objects.standing().filter(
        says=DoseAnswer.Says.TWO, dose__struck_at=None, dose__course__animal__in=animals
    )
    return set(answers.values_list("dose__course_id", flat=True))
