"""The vats of a day, one vat, and what the cheesemaker writes about it."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db.models import Max
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.once import once_only
from config.roles import action_required, may
from config.templatetags.sheet import amount
from config.views.entries import stamp_of
from milk.asked import day_asked
from milk.day_so_far import so_far
from milk.forms.vats import FillForm, MarkForm, SwapForm, WheelsForm
from milk.held import HeldBy, Thing
from milk.in_vats import contents_and_holds, contents_of, fills_of
from milk.models import Vat, Wheel
from milk.places import where_is
from milk.recipes import range_kg, recipe_of
from milk.recipes import wheels_of as wheels_made
from milk.services.marks import record_mark
from milk.services.vats import fill_vat_from, look_before_pouring
from milk.services.wheels import number_wheels, swap_wheels
from milk.vat_times import in_time

FILLED = N_("Written: {kg} kg into {vat}.")
MARKED = N_("Written: {what} of {vat} at {at}. A wrong one is struck on the page of the vat.")
NUMBERED = N_("Written: {plates} of {vat}.")
SWAPPED = N_("{one} and {other} have exchanged their wheels. The old wording stays readable.")


@action_required("read")
def vats(request: HttpRequest) -> HttpResponse:
    """The vats of a day (``?day=``; today, or the last day with vats) by number."""
    now = timezone.now()
    today = timezone.localdate(now)
    last = Vat.objects.standing().filter(day__lte=today).aggregate(last=Max("day"))["last"]
    day = day_asked(request.GET.get("day", ""), last or today, today)
    found = Vat.objects.filter(day=day, struck_at=None).order_by("round", "number")
    listed = list(found.prefetch_related("wheels"))
    contents = contents_of(listed, now, in_full=False)
    times = in_time(listed, now, filled={one.vat.pk: one.filled for one in contents})
    made = so_far(listed, day)
    context = {
        "now": now,
        "day": day,
        "rows": [
            {
                "content": content,
                "plates": plates_of(content.vat),
                "time": time,
                "ratio": made.ratios[content.vat.pk],
            }
            for content, time in zip(contents, times, strict=True)
        ],
        "made": made,
        "slow": [time for time in times if time.is_slow],
        "in_make": sum(time.next is not None for time in times),
        "may_mark": may(request.user, "write:vat-marks") and day == today,
        "held": sum(content.word != "not held" and bool(content.filled) for content in contents),
        "filled": sum(content.filled for content in contents),
        "earlier": day - timedelta(days=1),
        "later": day + timedelta(days=1) if day < today else None,
        "may_begin": may(request.user, "write:vats"),
        "today": today,
        "begin": next_number(listed) if day == today else 1,
    }
    return render(request, "milk/vats.html", context)


def next_number(vats: Iterable[Vat]) -> int | None:
    """The number of the vat that is begun next; None when a second round begins, or none is left.

    Vats are begun in the order of their numbers; who begins another writes its number.
    """
    numbers = [vat.number for vat in vats if vat.round == 1]
    return max(numbers, default=0) + 1 if len(numbers) == max(numbers, default=0) else None


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
    wheels = list(
        Wheel.objects.filter(vat=found).select_related("struck_by").order_by("twin", "-id")
    )
    standing = [wheel for wheel in wheels if not wheel.is_struck]
    fills = fills_of(found)
    poured = {found.pk: sum((r["fill"].kg for r in fills if not r["fill"].is_struck), Decimal(0))}
    (content,), held = contents_and_holds([found], now, wheels=standing, filled=poured)
    marks = list(found.marks.select_related("by", "struck_by").order_by("happened_at", "id"))
    (time,) = in_time([found], now, filled=poured, marked=marks)
    context = {
        "now": now,
        "vat": found,
        "content": content,
        "fills": fills,
        "wheels": wheel_rows(wheels, held),
        "time": time,
        "all_marks": marks,
        "may_mark": may(request.user, "write:vat-marks") and not found.is_struck,
        "complete": len(standing) >= wheels_made(recipe_of(found)),
        "wordings": [found.replaces] if found.replaces else [],
        "may_fill": may(request.user, "write:vat-fills") and not found.is_struck,
        "may_number": may(request.user, "write:wheels") and not found.is_struck,
        "may_strike": may(request.user, "strike:vats") and not found.is_struck,
        "may_hold": may(request.user, "write:holds") and not found.is_struck,
    }
    return render(request, "milk/vat.html", context)


def wheel_rows(
    wheels: Sequence[Wheel], held: Mapping[tuple[Thing, int], list[HeldBy]]
) -> list[dict[str, Any]]:
    """The wheels of a vat, struck ones too, each with where it is and the holds on it."""
    places = where_is([wheel.pk for wheel in wheels if not wheel.is_struck])
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
    would_hold = None
    if form.is_valid() and "look" in request.POST:
        would_hold = form.carry_out(
            look_before_pouring,
            stamp=stamp_of(request, form),
            vat=found,
            fills=form.fills(),
            at=timezone.now(),
        )
    elif form.is_valid():
        stamp = stamp_of(request, form)
        made = form.carry_out(fill_vat_from, stamp=stamp, vat=found, fills=form.fills())
        if made is not None:
            kg = amount(sum(fill.kg for fill in made))
            messages.success(request, _(FILLED).format(kg=kg, vat=found))
            return redirect(found)
    least, most = range_kg(recipe_of(found))
    context = {
        "form": form,
        "vat": found,
        "now": timezone.now(),
        "would_hold": would_hold,
        "least": least,
        "most": most,
    }
    return render(request, "milk/vat_fill.html", context)


@action_required("write:vat-marks")
@once_only
def mark(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Write the next mark of a make: one touch on the board, a form when something is wrong."""
    found = standing_vat(uuid)
    form = MarkForm(request.POST or None)
    if form.is_valid():
        stamp = stamp_of(request, form)
        values = {name: form.cleaned_data[name] for name in ("what", "celsius", "acidity")}
        remark = form.cleaned_data["remark"]
        made = form.carry_out(record_mark, stamp=stamp, vat=found, remark=remark, **values)
        if made is not None:
            at = timezone.localtime(made.happened_at)
            words = _(MARKED).format(vat=found, what=made.get_what_display(), at=f"{at:%H:%M}")
            messages.success(request, words)
            return redirect("milk:vats")
    context = {"form": form, "vat": found, "now": timezone.now()}
    return render(request, "milk/vat_mark.html", context)


@action_required("write:wheels")
@once_only
def number(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Number the wheels of a vat."""
    found = standing_vat(uuid)
    there = set(Wheel.objects.standing().filter(vat=found).values_list("twin", flat=True))
    letters = Wheel.Twin.values[: wheels_made(recipe_of(found))]
    free = tuple(twin for twin in letters if twin not in there)
    # The day after a lift is weighed from the lift, not from when somebody came to write.
    start = {"happened_at": found.lifted_at} if found.lifted_at else None
    form = WheelsForm(
        request.POST or None,
        initial=start,
        twins=free or tuple(letters),
        after=last_plate(),
    )
    if form.is_valid():
        stamp = stamp_of(request, form)
        made = form.carry_out(number_wheels, stamp=stamp, vat=found, plates=form.plates())
        if made is not None:
            plates = ", ".join(
                _("plate {plate} as twin {twin}").format(plate=wheel.plate, twin=wheel.twin)
                for wheel in made
            )
            messages.success(request, _(NUMBERED).format(plates=plates, vat=found))
            return redirect(found)
    context = {"form": form, "vat": found, "now": timezone.now()}
    return render(request, "milk/vat_wheels.html", context)


def last_plate() -> str:
    """The plate that was put on last; "" for the first wheel of all."""
    last = Wheel.objects.standing().order_by("-happened_at", "-pk").first()
    return last.plate if last else ""


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
            messages.success(request, _(SWAPPED).format(one=capfirst(str(found)), other=other))
            return redirect(found)
    context = {"form": form, "vat": found, "now": timezone.now()}
    return render(request, "milk/vat_swap.html", context)
