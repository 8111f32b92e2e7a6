"""One animal: TANK or NOT, why and until when; her courses, where she stands, and her book."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from config.roles import VET, action_required, may, roles_of
from herd.animal_sheet import AnimalSheet
from herd.models import Animal

# What may be written from her page.
WRITTEN_HERE = (
    "group-stays",
    "courses",
    "doses",
    "health-events",
    "cow-tests",
    "calvings",
    "dry-offs",
    "services",
    "heats",
    "pregnancy-checks",
    "tag-events",
    "leg-bands",
)


@action_required("read")
def animal(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Everything about one animal, the answer first; a struck one is shown as struck."""
    cow = get_object_or_404(
        Animal.objects.select_related("dam", "replaces", "struck_by"), uuid=uuid
    )
    now = timezone.now()
    sheet = AnimalSheet(cow, now)
    courses = sheet.courses
    context = {
        "animal": cow,
        "sheet": sheet,
        "answer": sheet.answer,
        "now": now,
        "stay": sheet.stay,
        "tag": sheet.tag,
        "meat": sheet.meat,
        "too_late": sheet.minutes_too_late if VET in roles_of(request.user) else None,
        "courses": courses,
        "doses_left": any(item.left for item in courses),
        "writes": {
            slug.replace("-", "_"): may(request.user, f"write:{slug}") for slug in WRITTEN_HERE
        },
        "strikes_courses": may(request.user, "strike:courses"),
    }
    return render(request, "herd/animal.html", context)
