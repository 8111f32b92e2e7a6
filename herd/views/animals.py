"""One animal: TANK or NOT, why and until when; her courses, where she stands, and her book."""

from datetime import datetime
from itertools import islice
from typing import Any
from uuid import UUID

from django.db.models import Prefetch, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from config.entries import Entry
from config.kinds import Kind, kind_named
from config.roles import VET, action_required, may, roles_of
from herd import withdrawal
from herd.models import Animal, Calving, Course, CowTest, Dose, GroupStay, Recording
from herd.services.groups import meat_withheld
from herd.services.withdrawals import estate_zone, stands_of
from herd.withdrawal import Estate
from herd.withheld import answer_for

# Kinds that stand in an animal's book, and the field that names her.
BOOK = (
    ("group-stays", "animal"),
    ("courses", "animal"),
    ("doses", "course__animal"),
    ("health-events", "animal"),
    ("cow-tests", "animal"),
    ("calvings", "dam"),
    ("dry-offs", "animal"),
    ("services", "animal"),
    ("pregnancy-checks", "animal"),
    ("tag-events", "animal"),
)
BOOK_ROWS = 40
TESTS_SHOWN = 6
RECORDINGS_SHOWN = 12


@action_required("read")
def animal(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Everything about one animal, the answer first; a struck one is shown as struck."""
    cow = get_object_or_404(Animal.objects.select_related("dam", "replaces"), uuid=uuid)
    now = timezone.now()
    answer = answer_for(cow, now)
    stay = GroupStay.objects.at(now).filter(animal=cow).select_related("group").first()
    calving = Calving.objects.happened_by(now).filter(dam=cow).order_by("-happened_at").first()
    courses = running_courses(cow, now)
    context = {
        "animal": cow,
        "answer": answer,
        "now": now,
        "stay": stay,
        "tag": cow.current_tag(),
        "calving": calving,
        "days_since_calving": days_since(calving, now),
        "meat": meat_withheld(cow, now),
        "too_late": minutes_too_late(cow, answer) if VET in roles_of(request.user) else None,
        "courses": courses,
        "doses_left": any(item["left"] for item in courses),
        "tests": CowTest.objects.standing()
        .filter(animal=cow)
        .order_by("-happened_at")[:TESTS_SHOWN],
        "recordings": recordings(cow),
        "book": book(cow),
        "writes": {slug.replace("-", "_"): may(request.user, f"write:{slug}") for slug, _ in BOOK},
        "strikes_courses": may(request.user, "strike:courses"),
    }
    return render(request, "herd/animal.html", context)


def days_since(calving: Calving | None, now: datetime) -> int | None:
    """Whole days of the estate's calendar since a calving; None without one."""
    if calving is None:
        return None
    return (timezone.localdate(now) - timezone.localdate(calving.happened_at)).days


def minutes_too_late(cow: Animal, answer: Any) -> int | None:
    """How much earlier the last dose would have cost one milking less; None when not close."""
    if answer is None or answer.until is None:
        return None
    stands = stands_of([cow.pk]).get(cow.pk, ())
    return withdrawal.minutes_too_late(answer.until, Estate(estate_zone(), (), stands))


def running_courses(cow: Animal, now: datetime) -> list[dict[str, Any]]:
    """Courses whose milk or meat period runs, or that have doses left; the newest first."""
    doses = Prefetch("given", Dose.objects.order_by("happened_at"), to_attr="all_doses")
    courses = (
        Course.objects.standing()
        .filter(animal=cow)
        .filter(
            Q(withdrawals__during__contains=now)
            | Q(withdrawals__meat_until__gt=now)
            | Q(withdrawals__meat_open=True)
        )
        .select_related("medicine")
        .prefetch_related(doses, "withdrawals")
        .order_by("-happened_at")
        .distinct()
    )
    return [
        {
            "course": course,
            "left": max(course.doses - sum(not dose.is_struck for dose in course.all_doses), 0),
            "period": next(iter(course.withdrawals.all()), None),
        }
        for course in courses
    ]


def recordings(cow: Animal) -> list[Recording]:
    """Her last standing recordings, newest first."""
    found = Recording.objects.standing().filter(animal=cow).order_by("-happened_at", "-pk")
    return list(found[:RECORDINGS_SHOWN])


def book(cow: Animal) -> list[dict[str, Any]]:
    """Her last entries of every kind, struck ones too, newest first."""
    rows: list[tuple[Kind, Entry]] = []
    for slug, field in BOOK:
        kind = kind_named(slug)
        found = kind.entries().filter(**{field: cow}).order_by("-happened_at", "-pk")
        rows += [(kind, entry) for entry in found[:BOOK_ROWS]]
    rows.sort(key=lambda row: row[1].happened_at, reverse=True)
    return [{"kind": kind, "entry": entry} for kind, entry in islice(rows, BOOK_ROWS)]
