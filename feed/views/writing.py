"""The two quick forms of the feed hand: start a cut, and feed one thing to several groups."""

from datetime import datetime
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import pgettext_lazy

from config.days import local_day
from config.forms.entries import form_of, initial_from
from config.kinds import kind_named
from config.once import once_only
from config.roles import action_required
from config.views.entries import stamp_of
from feed.forms.feedings import FeedForm
from feed.known_fields import known_fields
from feed.models import ForageBatch
from feed.quick import quick_load
from feed.services.batches import record_batch
from feed.services.feedings import record_feedings
from feed.services.figures import value_on
from feed.services.lots import broken_by
from feed.stands import Stand, stands
from feed.unaccounted import questions
from feed.window import hours_late

# The two large buttons of a cut: whether the grass is wet, and what stands on the button.
# Of grass: a cow is dry in another way.
WETNESS = ((False, pgettext_lazy("of grass", "dry")), (True, pgettext_lazy("of grass", "wet")))
CUT = N_("Written: {batch}.")
FED = N_("Written: {kg} kg of {thing} to {groups}.")
FORBIDDEN = N_(
    "{feed} may not be fed: {rule} ({scheme}). What was fed is written; stop it and tell the vet."
)
WARNED = N_("Look at {feed}: {rule} ({scheme}).")
FED_LATE = N_(
    "It was fed {hours:.1f} h past its deadline; that stays with the milk of these groups."
)


@action_required("write:forage-batches")
@once_only
def start_cut(request: HttpRequest) -> HttpResponse:
    """Which field, then the load: a cut that begins now, about so heavy until it is weighed."""
    kind = kind_named("forage-batches")
    asked = initial_from(kind, request.GET.dict())
    if request.method != "POST" and "field" not in asked:
        return render(request, "feed/cut_fields.html", fields_now())
    usual = usual_kg(timezone.now())
    likely = {"weighed": False, "kg": usual, **asked}
    form = form_of(kind.slug)(request.POST or None, initial=likely)
    if form.is_valid():
        batch = form.carry_out(record_batch, stamp=stamp_of(request, form), **form.entry_values())
        if batch is not None:
            messages.success(request, _(CUT).format(batch=batch))
            return redirect(batch)
    now = timezone.now()
    every = stands(now, local_day(now))
    context = {
        "form": form,
        "kind": kind,
        "asks": asking(),
        "now": now,
        "today": local_day(now),
        "known": known_fields(every),
        "stand": stand_of(asked.get("field"), every) if request.method != "POST" else None,
        "usual_kg": usual,
        "wetness": WETNESS,
    }
    return render(request, "feed/cut.html", context)


def stand_of(field: Any, every: list[Stand]) -> Stand | None:
    """What stands on the field that was picked; None when none was."""
    number = str(getattr(field, "uuid", field))
    return next((one for one in every if str(one.field.uuid) == number), None)


def usual_kg(now: datetime) -> Decimal | None:
    """What a load weighs until it is on the scale: as the last one weighed, or a full wagon."""
    weighed = ForageBatch.objects.happened_by(now).filter(weighed=True).order_by("-happened_at")
    last = weighed.values_list("kg", flat=True).first()
    found: Decimal | None = value_on(local_day(now), "wagon") if last is None else last
    return found


def fields_now() -> dict[str, Any]:
    """Fields that may be cut now, longest uncut first, and those that must wait, with the day."""
    now = timezone.now()
    found = stands(now, local_day(now))
    return {
        "now": now,
        "usual_kg": usual_kg(now),
        "wetness": WETNESS,
        "free": [stand for stand in found if stand.is_free],
        "waiting": [stand for stand in found if not stand.is_free],
        "asks": asking(),
    }


def asking() -> list[Any]:
    """Loads that were fed in part while newer ones are cut: where did the rest go?"""
    return list(questions(timezone.now()))


@action_required("write:feedings")
@once_only
def feed(request: HttpRequest) -> HttpResponse:
    """Feed one load, or feed lot, to several groups; one form, one feeding for each of them."""
    form = FeedForm(request.POST or None, initial=request.GET.dict())
    if form.is_valid():
        values = form.values()
        stamp = stamp_of(request, form)
        fed = form.carry_out(record_feedings, stamp=stamp, **values)
        if fed is not None:
            tell_fed(request, fed)
            tell_forbidden(request, fed[0])
            batch = values.get("batch")
            return redirect(batch) if batch else redirect("feed:board")
    now = timezone.now()
    loads = [thing for thing in form.things.values() if isinstance(thing, ForageBatch)]
    quick = None
    if request.method != "POST":
        quick = quick_load(loads, form.groups, request.GET.get("of", ""), now)
    return render(request, "feed/feed.html", {"form": form, "now": now, "quick": quick})


def tell_fed(request: HttpRequest, fed: list[Any]) -> None:
    """Say what was written, and that it was late when it was."""
    first = fed[0]
    thing = first.batch or first.feed_lot
    groups = ", ".join(str(feeding.group) for feeding in fed)
    kg = f"{sum(feeding.kg for feeding in fed):,.0f}"
    messages.success(request, _(FED).format(kg=kg, thing=thing, groups=groups))
    late = hours_late(first.happened_at, first.batch.deadline if first.batch else None)
    if late > 0:
        messages.warning(request, _(FED_LATE).format(hours=late))


def tell_forbidden(request: HttpRequest, feeding: Any) -> None:
    """Say what a scheme of the estate forbids, or warns of, about what was fed."""
    if feeding.feed_lot is None:
        return
    for rule in broken_by(feeding.feed_lot, local_day(feeding.happened_at)):
        words = (_(FORBIDDEN) if rule.refuse else _(WARNED)).format(
            feed=feeding.feed_lot, rule=rule.name, scheme=rule.scheme
        )
        (messages.error if rule.refuse else messages.warning)(request, words)
