"""A dose written late: what is in doubt, what can still be stopped, and one hold over it."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.once import once_only
from config.roles import action_required, check_may, may
from herd.models import Course, Dose
from milk.doubt import Doubt, doubt_about
from milk.models import Hold
from milk.services import flags
from milk.views.holds import named

HELD = N_("Held: everything below. It stays held until two different people decide the same.")


@action_required("read")
@once_only
def late(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The milk of a course that went to tanks; a POST has it held now, without waiting."""
    courses = Course.objects.select_related("animal", "medicine")
    course = get_object_or_404(courses, uuid=uuid)
    now = timezone.now()
    if request.method == "POST":
        check_may(request.user, "write:holds")
        flags.flag_withheld_milk(at=now, animals=[course.animal_id])
        messages.success(request, _(HELD))
        return redirect("milk:late", uuid=uuid)
    return render(request, "milk/late.html", context_of(request, doubt_about(course, now), now))


def context_of(request: HttpRequest, doubt: Doubt, now: Any) -> dict[str, Any]:
    """What the page shows."""
    doses = Dose.objects.standing().filter(course=doubt.course, skipped=False)
    tree = doubt.tree.as_tree()
    timed = [*doubt.vats, *doubt.trays]
    return {
        "doubt": doubt,
        "course": doubt.course,
        "now": now,
        "doses": list(doses.order_by("happened_at")),
        "stoppable": [(left, left.minutes(now)) for left in timed],
        "spans": {name: named(items) for name, items in tree.items()},
        "to_hold": bool(doubt.rows) and not doubt.holds and may(request.user, "write:holds"),
        "holds": [(hold, hold_items(hold)) for hold in doubt.holds],
    }


def hold_items(hold: Hold) -> int:
    """How many lots a hold names."""
    return hold.items.filter(gone_at=None).count()
