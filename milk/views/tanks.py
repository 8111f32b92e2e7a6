"""What each tank holds now, and the buttons for what is done with it."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from config.roles import action_required, may
from milk.in_tanks import in_tanks
from milk.models import TankEvent

EVENTS_SHOWN = 12


@action_required("read")
def tanks(request: HttpRequest) -> HttpResponse:
    """Every tank: its lot, how much is left, since when, what was carried over."""
    now = timezone.now()
    latest = TankEvent.objects.select_related("tank", "to_tank", "by").order_by(
        "-happened_at", "-id"
    )
    context = {
        "now": now,
        "contents": in_tanks(now),
        "events": list(latest[:EVENTS_SHOWN]),
        "may_write": may(request.user, "write:tank-events"),
        "may_milk": may(request.user, "write:milkings"),
        "may_fill": may(request.user, "write:vats"),
        "may_deliver": may(request.user, "write:deliveries"),
        "may_stop": may(request.user, "write:wrong-cows"),
        "may_add": may(request.user, "write:tanks"),
    }
    return render(request, "milk/tanks.html", context)
