"""Sheets with a number for each of many things: the weights of a day, the cream of the trays."""

from contextlib import suppress
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.once import once_only
from config.roles import action_required
from config.views.entries import stamp_of
from milk.asked import day_asked
from milk.day_make import day_make
from milk.forms.many import ManyForm, SkimForm, WeighForm
from milk.models import Tray, Wheel
from milk.nouns import counted
from milk.services.at_once import skim_trays, weigh_wheels

WEIGHED = N_("Written: {number} weighed.")
SKIMMED = N_("Written: {number} skimmed.")


@action_required("write:wheel-weights")
@once_only
def weigh(request: HttpRequest) -> HttpResponse:
    """Weigh the wheels of a day (``?day=``) that have no weight yet, on one sheet."""
    now = timezone.now()
    today = timezone.localdate(now)
    day = day_asked(request.GET.get("day", ""), today, today)
    # What somebody else weighed since the sheet was opened is not passed over in silence.
    asked = Q(kg=None) | Q(uuid__in=named(request, "kg_"))
    rows = Wheel.objects.standing().filter(asked, vat__day=day).select_related("vat")
    wheels = list(rows.order_by("vat__round", "vat__number", "twin"))
    form = WeighForm(request.POST or None, wheels=wheels)
    back = f"{reverse('milk:wheels-today')}?day={day}"
    if form.is_valid():
        stamp = stamp_of(request, form)
        made = form.carry_out(weigh_wheels, stamp=stamp, weights=form.written())
        if made is not None:
            messages.success(request, _(WEIGHED).format(number=counted(len(made), "wheel")))
            return redirect(back)
    return sheet(request, form, title=_("Weigh the wheels"), of=day, back=back, send=_("Weighed"))


@action_required("write:skimmings")
@once_only
def skim(request: HttpRequest) -> HttpResponse:
    """Write the cream taken off every tray that has milk, on one sheet."""
    now = timezone.now()
    made = day_make(timezone.localdate(now), now)
    # Nor is a tray that was poured out meanwhile.
    poured = Tray.objects.standing().filter(uuid__in=named(request, "cream_"))
    trays = [one for one in made.standing if one.tray]
    form = SkimForm(request.POST or None, trays=trays, others=list(poured))
    back = reverse("milk:pour")
    if form.is_valid():
        stamp = stamp_of(request, form)
        looks = form.carry_out(skim_trays, stamp=stamp, skimmed=form.written())
        if looks is not None:
            messages.success(request, _(SKIMMED).format(number=counted(len(looks), "tray")))
            return redirect(back)
    return sheet(request, form, title=_("Skim the trays"), of=None, back=back, send=_("Skimmed"))


def named(request: HttpRequest, prefix: str) -> list[UUID]:
    """The things (numbers of entries) that a sheet was sent with."""
    found = []
    for name in request.POST:
        with suppress(ValueError):
            found.append(UUID(name.removeprefix(prefix)))
    return found


def sheet(request: HttpRequest, form: ManyForm, **context: Any) -> HttpResponse:
    context |= {"form": form, "now": timezone.now(), "any": bool(form.things)}
    return render(request, "milk/many.html", context)
