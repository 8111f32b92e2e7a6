"""Entries besides courses that keep milk out: returns, unfit signs, doses given twice."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.conf import settings
from django.db.models import Exists, OuterRef, Q, Subquery

from herd.models import DoseAnswer, GroupStay, HealthEvent, UnfitSign
from herd.unfit import SignRule


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
    rows = UnfitSign.objects.standing().filter(scheme__in=followed())
    columns = ("case", "with_fever", "keeps_out", "scheme", "valid_from")
    return tuple(SignRule(*row) for row in rows.values_list(*columns))


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
    answers = DoseAnswer.objects.standing().filter(
        says=DoseAnswer.Says.TWO, dose__struck_at=None, dose__course__animal__in=animals
    )
    return set(answers.values_list("dose__course_id", flat=True))
