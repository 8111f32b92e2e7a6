"""The wheels made lately."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from config.roles import action_required
from milk.held import open_holds
from milk.models import Wheel
from milk.places import where_is

WHEELS_SHOWN = 60


@action_required("read")
def wheels(request: HttpRequest) -> HttpResponse:
    """The latest wheels, or those whose plate begins with ``?plate=``: where they are, if held."""
    plate = request.GET.get("plate", "").replace("\x00", "").strip()[:16]
    found = Wheel.objects.standing().select_related("vat").order_by("-happened_at", "-id")
    if plate:
        found = found.filter(plate__startswith=plate)
    rows = list(found[:WHEELS_SHOWN])
    numbers = [wheel.pk for wheel in rows]
    held, places = open_holds(wheel_ids=numbers), where_is(numbers)
    context = {
        "now": timezone.now(),
        "plate": plate,
        "most": WHEELS_SHOWN,
        "rows": [
            {"wheel": wheel, "place": places[wheel.pk], "held": ("wheel", wheel.pk) in held}
            for wheel in rows
        ],
    }
    return render(request, "milk/wheels.html", context)
