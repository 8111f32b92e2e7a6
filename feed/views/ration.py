"""The ration of a day: did each group eat enough, and were its shares kept?"""

from datetime import date

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from config.forms.fields import DayField
from config.roles import action_required
from feed.days import local_day
from feed.rations import rations


@action_required("read")
def rations_of_day(request: HttpRequest) -> HttpResponse:
    """Dry matter offered, refused and eaten per group today, or on ``?day=``."""
    day = day_asked(request)
    rows = rations(day)
    context = {
        "day": day,
        "rows": rows,
        "broken": [
            (ration, rule, percent)
            for ration in rows
            for rule, percent, keeps in ration.shares
            if not keeps
        ],
        "now": timezone.now(),
    }
    return render(request, "feed/ration.html", context)


def day_asked(request: HttpRequest) -> date:
    """The day of ``?day=``, else the estate's today. Raises ValidationError."""
    try:
        asked: date | None = DayField(required=False).clean(request.GET.get("day", ""))
    except ValidationError as error:
        raise ValidationError({"day": error.messages}) from error
    return asked or local_day(timezone.now())
