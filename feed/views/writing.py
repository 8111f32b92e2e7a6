"""The two quick forms of the feed hand: start a cut, and feed one thing to several groups."""

from typing import Any

from django.contrib import messages
from django.db.models import F
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from config.entries import Stamp
from config.forms.entries import form_of, initial_from
from config.kinds import kind_named
from config.once import once_only
from config.roles import action_required
from config.views.entries import DEVICE, stamp_of
from feed.board import board
from feed.days import local_day
from feed.forms.feedings import FeedForm
from feed.models import Field
from feed.models.batches import last_cut
from feed.services.batches import record_batch
from feed.services.feedings import record_feedings
from feed.window import hours_late

CUT = "Written: {batch}."
FED = "Written: {kg} kg of {thing} to {groups}."
FED_LATE = "It was fed {hours:.1f} h past its deadline; that stays with the milk of these groups."


@action_required("write:forage-batches")
@once_only
def start_cut(request: HttpRequest) -> HttpResponse:
    """Which field, then the load: a cut that begins now, about so heavy until it is weighed."""
    kind = kind_named("forage-batches")
    asked = initial_from(kind, request.GET.dict())
    if request.method != "POST" and "field" not in asked:
        return render(request, "feed/cut_fields.html", fields_now())
    form = form_of(kind.slug)(request.POST or None, initial={"weighed": False, **asked})
    if form.is_valid():
        batch = form.carry_out(record_batch, stamp=stamp_of(request, form), **form.entry_values())
        if batch is not None:
            messages.success(request, CUT.format(batch=batch))
            return redirect(batch)
    return render(request, "feed/cut.html", {"form": form, "kind": kind, "asks": asking()})


def fields_now() -> dict[str, Any]:
    """Fields that may be cut now, longest uncut first, and those that must wait, with the day."""
    now = timezone.now()
    fields = Field.objects.standing().with_free_on(now, local_day(now))
    cut = fields.annotate(last_cut=last_cut(now))
    order = (F("last_cut").asc(nulls_first=True), "name")
    return {
        "now": now,
        "free": cut.filter(free_on=None).order_by(*order),
        "waiting": cut.exclude(free_on=None).order_by("free_on", "name"),
        "asks": asking(),
    }


def asking() -> list[Any]:
    """Loads that were fed in part while newer ones are cut: where did the rest go?"""
    return [row for row in board(timezone.now()) if row.asks]


@action_required("write:feedings")
@once_only
def feed(request: HttpRequest) -> HttpResponse:
    """Feed one load, or feed lot, to several groups; one form, one feeding for each of them."""
    form = FeedForm(request.POST or None, initial=request.GET.dict())
    if form.is_valid():
        assert request.user.is_authenticated
        values = form.values()
        stamp = Stamp.now(request.user, form.cleaned_data["happened_at"], device=DEVICE)
        fed = form.carry_out(record_feedings, stamp=stamp, **values)
        if fed is not None:
            tell_fed(request, fed)
            batch = values.get("batch")
            return redirect(batch) if batch else redirect("feed:board")
    return render(request, "feed/feed.html", {"form": form, "now": timezone.now()})


def tell_fed(request: HttpRequest, fed: list[Any]) -> None:
    """Say what was written, and that it was late when it was."""
    first = fed[0]
    thing = first.batch or first.feed_lot
    groups = ", ".join(str(feeding.group) for feeding in fed)
    kg = f"{sum(feeding.kg for feeding in fed):,.0f}"
    messages.success(request, FED.format(kg=kg, thing=thing, groups=groups))
    late = hours_late(first.happened_at, first.batch.deadline if first.batch else None)
    if late > 0:
        messages.warning(request, FED_LATE.format(hours=late))
