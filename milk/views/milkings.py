"""The milkings of the last days, and a group's milking written with pasted meter rows."""

from datetime import timedelta

from django.contrib import messages
from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.once import once_only
from config.roles import action_required, may
from config.templatetags.sheet import amount
from config.views.entries import stamp_of
from milk.forms.milkings import MilkingForm
from milk.models import Milking, MilkingPart
from milk.nouns import counted
from milk.services.milkings import record_milking

DAYS_SHOWN = 2
WRITTEN = N_("Written: {milking}, {kg} kg{cows}.")


@action_required("read")
def milkings(request: HttpRequest) -> HttpResponse:
    """Who was milked yesterday and today, into which tank and lot."""
    now = timezone.now()
    first = timezone.localdate(now) - timedelta(days=DAYS_SHOWN - 1)
    parts = MilkingPart.objects.select_related("lot").order_by("lot__opened_at")
    rows = (
        Milking.objects.filter(
            day__gte=first, happened_at__gte=now - timedelta(days=DAYS_SHOWN + 1)
        )
        .select_related("group", "tank", "by", "struck_by")
        .prefetch_related(Prefetch("parts", parts))
        .order_by("-happened_at", "-id")
    )
    context = {
        "now": now,
        "rows": list(rows),
        "may_write": may(request.user, "write:milkings"),
    }
    return render(request, "milk/milkings.html", context)


@action_required("write:milkings")
@once_only
def milk(request: HttpRequest) -> HttpResponse:
    """Write a group's milking down, with its meter rows when there are any."""
    form = MilkingForm(request.POST or None, initial=request.GET.dict())
    if form.is_valid():
        stamp = stamp_of(request, form)
        milking = form.carry_out(record_milking, stamp=stamp, **form.values())
        if milking is not None:
            rows = milking.cows.count()
            cows = f", {counted(rows, 'cow')}" if rows else ""
            said = _(WRITTEN).format(milking=milking, kg=amount(milking.kg), cows=cows)
            messages.success(request, said)
            return redirect("milk:milkings")
    return render(request, "milk/milking.html", {"form": form, "now": timezone.now()})
