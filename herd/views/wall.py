"""The parlour wall: which group's list to hang up, and the list itself."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from config.roles import action_required
from herd.models import Group
from herd.wall import ASKS_EVERY
from herd.wall import wall as wall_of
from herd.withheld import NOT_MILKED


@action_required("read")
def walls(request: HttpRequest) -> HttpResponse:
    """The groups that are milked, each with its wall."""
    groups = Group.objects.standing().exclude(use__in=NOT_MILKED).order_by("number")
    return render(request, "herd/walls.html", {"groups": groups, "now": timezone.now()})


@action_required("read")
def wall(request: HttpRequest, number: int) -> HttpResponse:
    """One group's list, large; it renews itself and says when it is too old."""
    group = get_object_or_404(Group.objects.standing(), number=number)
    context = {"wall": wall_of(group, timezone.now()), "asks_every": ASKS_EVERY}
    answer = render(request, "herd/wall.html", context)
    # An old answer out of a cache would look as good as a new one.
    answer["Cache-Control"] = "no-store"
    return answer
