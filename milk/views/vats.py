"""The vats of a day, one vat, and what the cheesemaker writes about it."""

from datetime import timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db.models import Max
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from config.once import once_only
from config.roles import action_required, may
from config.templatetags.sheet import amount
from config.views.entries import stamp_of
from milk.asked import day_asked
from milk.forms.vats import FillForm, SwapForm, WheelsForm
from milk.held import open_holds
from milk.in_vats import contents_of, fills_of
from milk.models import Vat, Wheel
from milk.places import where_is
from milk.recipes import recipe_of
from milk.recipes import wheels_of as wheels_made
from milk.services.vats import fill_vat_from
from milk.services.wheels import number_wheels, swap_wheels

FILLED = "Written: {kg} kg into {vat}."
NUMBERED = "Written: {plates} of {vat}."
SWAPPED = "{one} and {other} have exchanged their wheels. The old wording stays readable."


@action_required("read")
def vats(request: HttpRequest) -> HttpResponse:
    """The vats of a day (``?day=``; today, or the last day with vats) by number."""
    now = timezone.now()
    today = timezone.localdate(now)
    last = Vat.objects.standing().filter(day__lte=today).aggregate(last=Max("day"))["last"]
    day = day_asked(request.GET.get("day", ""), last or today, today)
    found = Vat.objects.filter(day=day, struck_at=None).order_by("round", "number")
    contents = contents_of(list(found.prefetch_related("wheels")), now)
    context = {
        "now": now,
        "day": day,
        "rows": [{"content": content, "plates": plates_of(content.vat)} for content in contents],
        "held": sum(content.word != "not held" and bool(content.filled) for content in contents),
        "filled": sum(content.filled for content in contents),
        "earlier": day - timedelta(days=1),
        "later": day + timedelta(days=1) if day < today else None,
        "may_begin": may(request.user, "write:vats"),
    }
    return render(request, "milk/vats.html", context)


def plates_of(vat: Vat) -> list[Wheel]:
    """The standing wheels of a vat, A first; its wheels are read already."""
    return sorted((w for w in vat.wheels.all() if not w.is_struck), key=lambda wheel: wheel.twin)


@action_required("read")
def vat(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One vat: held or not, of which lots, its fills, its wheels."""
    now = timezone.now()
    found = get_object_or_404(
        Vat.objects.select_related("starter_can__from_vat", "by", "struck_by", "replaces"),
        uuid=uuid,
    )
    (content,) = contents_of([found], now)
    context = {
        "now": now,
        "vat": found,
        "content": content,
        "fills": fills_of(found),
        "wheels": wheels_of(found),
        "complete": Wheel.objects.standing().filter(vat=found).count()
        >= wheels_made(recipe_of(found)),
        "wordings": Vat.objects.filter(struck_at__isnull=False, replacements=found)[:20],
        "may_fill": may(request.user, "write:vat-fills") and not found.is_struck,
        "may_number": may(request.user, "write:wheels") and not found.is_struck,
        "may_strike": may(request.user, "strike:vats") and not found.is_struck,
        "may_hold": may(request.user, "write:holds") and not found.is_struck,
    }
    return render(request, "milk/vat.html", context)


def is_complete(vat: Vat) -> bool:
    """Whether every wheel the recipe makes of a vat has its plate."""
    made: int = Wheel.objects.standing().filter(vat=vat).count()
    return made >= wheels_made(recipe_of(vat))


def wheels_of(vat: Vat) -> list[dict[str, Any]]:
    """The wheels of a vat, struck ones too, each with where it is and the holds on it."""
    wheels = list(Wheel.objects.filter(vat=vat).select_related("struck_by").order_by("twin", "-id"))
    numbers = [wheel.pk for wheel in wheels if not wheel.is_struck]
    places, held = where_is(numbers), open_holds(wheel_ids=numbers)
    return [
        {
            "wheel": wheel,
            "place": places.get(wheel.pk),
            "held": held.get(("wheel", wheel.pk), []),
        }
        for wheel in wheels
    ]


def standing_vat(uuid: UUID) -> Vat:
    found: Vat = get_object_or_404(Vat.objects.standing(), uuid=uuid)
    return found


@action_required("write:vat-fills")
@once_only
def fill(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Fill a vat from one or several tanks and trays."""
    found = standing_vat(uuid)
    form = FillForm(request.POST or None, vat=found)
    if form.is_valid():
        stamp = stamp_of(request, form)
        made = form.carry_out(fill_vat_from, stamp=stamp, vat=found, fills=form.fills())
        if made is not None:
            kg = amount(sum(fill.kg for fill in made))
            messages.success(request, FILLED.format(kg=kg, vat=found))
            return redirect(found)
    context = {"form": form, "vat": found, "now": timezone.now()}
    return render(request, "milk/vat_fill.html", context)


@action_required("write:wheels")
@once_only
def number(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Number the wheels of a vat."""
    found = standing_vat(uuid)
    there = set(Wheel.objects.standing().filter(vat=found).values_list("twin", flat=True))
    letters = Wheel.Twin.values[: wheels_made(recipe_of(found))]
    free = tuple(twin for twin in letters if twin not in there)
    form = WheelsForm(request.POST or None, twins=free or tuple(letters))
    if form.is_valid():
        stamp = stamp_of(request, form)
        made = form.carry_out(number_wheels, stamp=stamp, vat=found, plates=form.plates())
        if made is not None:
            plates = ", ".join(f"plate {wheel.plate} as twin {wheel.twin}" for wheel in made)
            messages.success(request, NUMBERED.format(plates=plates, vat=found))
            return redirect(found)
    context = {"form": form, "vat": found, "now": timezone.now()}
    return render(request, "milk/vat_wheels.html", context)


@action_required("strike:wheels")
@once_only
def swap(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Exchange the wheels of two vats whose plates were written the wrong way round."""
    found = standing_vat(uuid)
    form = SwapForm(request.POST or None)
    if form.is_valid():
        stamp = stamp_of(request, form)
        done = form.carry_out(swap_wheels, stamp=stamp, one=found, **form.cleaned_data)
        if done is not None:
            other = form.cleaned_data["other"]
            messages.success(request, SWAPPED.format(one=str(found).capitalize(), other=other))
            return redirect(found)
    context = {"form": form, "vat": found, "now": timezone.now()}
    return render(request, "milk/vat_swap.html", context)
