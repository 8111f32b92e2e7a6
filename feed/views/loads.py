"""What is done at one load: weigh it, probe its heap, say where its rest went."""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.errors import as_validation_error
from config.forms.entries import SheetForm, form_of, initial_from
from config.forms.fields import NumberField
from config.kinds import kind_named
from config.once import once_only
from config.roles import action_required, may_strike, refusal
from config.templatetags.sheet import amount, moment
from config.views.entries import stamp_of
from feed.board import row_of
from feed.models import ForageBatch, HeapCheck
from feed.models.batches import LOAD_KG, LOAD_WEIGHT
from feed.services.answers import answer_group, answer_still
from feed.services.clocks import answer_hour
from feed.services.heaps import record_heap_check
from feed.services.weights import weigh_batch
from feed.services.windows import book_of, hours_between
from feed.window import terms_of
from herd.models import Group

WEIGHED = N_("Written: {batch} weighs {kg} kg.")
CUT_AT = N_("Written: {batch} was cut {at}.")
HOT = N_("Discard {batch} now: {left} kg left. Heat beats the clock.")
COOL = N_("Written: {batch}, until {deadline}.")
FED = N_("Written: {kg} kg of {batch} to {group}, a guess.")
STILL = N_("Written: {kg} kg of {batch} lie there still.")

WHICH_GROUP = N_("Nothing was saved. Say which group had the rest, or that it lies there still.")
NO_GROUP = N_(
    "Nothing was saved. There is no group {text}; expected one of those on the load’s page."
)


class WeighForm(SheetForm):
    """The weight from the scale, and what came out of the wagon that is no grass."""

    kg = NumberField(
        label=_l("Weighed, kg"),
        min_value=LOAD_KG[0],
        max_value=LOAD_KG[1],
        max_digits=9,
        decimal_places=1,
    )
    foreign_matter = forms.CharField(
        label=_l("Stones, carcass, soil, weeds"), required=False, max_length=120
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for code in ("min_value", "max_value"):
            self.fields["kg"].error_messages[code] = LOAD_WEIGHT


def load_of(uuid: UUID) -> ForageBatch:
    """The load asked for. Raises Http404."""
    found: ForageBatch = get_object_or_404(ForageBatch.objects.select_related("field"), uuid=uuid)
    return found


@action_required("write:forage-batches")
@once_only
def weigh(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The weight of a load from the scale; the guess stays readable, crossed through."""
    load = load_of(uuid)
    if not may_strike(request.user, "forage-batches", load):
        raise PermissionDenied(refusal(request.user, "strike:forage-batches"))
    form = WeighForm(request.POST or None)
    if form.is_valid():
        stamp = stamp_of(request)
        written = form.carry_out(weigh_batch, stamp=stamp, batch=load, **form.cleaned_data)
        if written is not None:
            words = _(WEIGHED).format(batch=written, kg=amount(written.kg))
            messages.success(request, words)
            return redirect(written)
    return render(request, "feed/weigh.html", {"form": form, "load": load})


@action_required("write:forage-batches")
@once_only
def hour(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Which of two moments a cut began at that the clock showed alike; from the load's page."""
    load = load_of(uuid)
    if not may_strike(request.user, "forage-batches", load):
        raise PermissionDenied(refusal(request.user, "strike:forage-batches"))
    if request.method == "POST":
        which = request.POST.get("which", "")
        try:
            written = answer_hour(stamp=stamp_of(request), batch=load, which=which)
        except ValidationError as refused:
            messages.error(request, " ".join(refused.messages))
        else:
            messages.success(
                request, _(CUT_AT).format(batch=written, at=moment(written.happened_at))
            )
    return redirect(load)


@action_required("write:heap-checks")
@once_only
def heap(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A probe, or a hand, in the heap of a load: from which warmth on it is discarded."""
    load = load_of(uuid)
    now = timezone.now()
    kind = kind_named("heap-checks")
    asked = {"batch": _("load {load}").format(load=load.pk)} | air_now(now)
    form = form_of(kind.slug)(request.POST or None, initial=initial_from(kind, asked))
    if form.is_valid():
        values = form.entry_values() | {"batch": load}
        check = form.carry_out(record_heap_check, stamp=stamp_of(request, form), **values)
        if check is not None:
            tell_heap(request, check)
            return redirect(load)
    book = book_of([load])
    terms = terms_of(book.grass(load), book.rules)
    context = {
        "form": form,
        "load": load,
        "row": row_of(load, now),
        "top": min((term.heap_top for term in terms), default=None),
        "over_air": min((term.heap_over_air for term in terms), default=None),
        "checks": load.checks.standing().order_by("-happened_at")[:6],
        "now": now,
    }
    return render(request, "feed/heap.html", context)


def air_now(now: datetime) -> dict[str, str]:
    """The air of this hour by the hourly weather, for the form; empty when nobody read it."""
    hour = now.replace(minute=0, second=0, microsecond=0)
    read = list(hours_between(hour, hour + timedelta(hours=1)).values())
    return {"air": str(read[0])} if read else {}


def tell_heap(request: HttpRequest, check: HeapCheck) -> None:
    """Say what a probe means for its load."""
    load = load_of(check.batch.uuid)
    row = row_of(load, timezone.now())
    if row.heated and row.is_open:
        messages.error(request, _(HOT).format(batch=load, left=amount(row.left_kg)))
    else:
        messages.success(request, _(COOL).format(batch=load, deadline=moment(load.deadline)))


@action_required("write:feedings")
@once_only
def where(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One touch says where the rest of a load went: ``group``, or ``still`` there."""
    load = load_of(uuid)
    if request.method != "POST":
        return redirect(f"{load.get_absolute_url()}#where")
    stamp = stamp_of(request)
    try:
        if "still" in request.POST:
            check = answer_still(stamp=stamp, batch=load)
            words = _(STILL).format(kg=amount(check.still_kg), batch=load)
        else:
            group = group_of(request.POST.get("group", ""))
            feeding = answer_group(stamp=stamp, batch=load, group=group)
            words = _(FED).format(kg=amount(feeding.kg), batch=load, group=group)
    except Exception as error:
        refused = as_validation_error(error)
        if refused is None:
            raise
        messages.error(request, " ".join(refused.messages))
    else:
        messages.success(request, words)
    return redirect(load)


def group_of(text: str) -> Group:
    """The group of a number. Raises ValidationError in words."""
    group: Group | None = Group.objects.standing().filter(number=int_or_0(text)).first()
    if group is None:
        raise ValidationError(_(WHICH_GROUP) if not text else _(NO_GROUP).format(text=text[:20]))
    return group


def int_or_0(text: str) -> int:
    """A small number, or 0 for anything else."""
    return int(text) if text.isdecimal() and len(text) < 6 else 0
