"""One wheel: held or not, where it is and was, its weights, its twin, and what it came of."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from config.days import local_day
from config.papers.handing import hand_over
from config.roles import action_required, may
from milk.age import full_months
from milk.in_vats import WITHHELD, contents_and_holds
from milk.models import Wheel, WheelPlace
from milk.places import GONE, IN_BRINE, IN_STORE, SENT, where_is
from milk.wheel_life import life_of, soaks_of, weights_of
from milk.wheel_trace_paper import wheel_trace_paper


@action_required("read")
def by_plate(request: HttpRequest, plate: str) -> HttpResponse:
    """Lead from a plate to its wheel's page; a list of hundreds names them so, in few bytes."""
    return redirect(get_object_or_404(Wheel.objects.standing(), plate=plate[:40]))


@action_required("read")
def wheel(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One wheel: the answer, where it is, its vat and twin, and its life so far."""
    now = timezone.now()
    found = get_object_or_404(
        Wheel.objects.select_related("vat", "by", "struck_by", "replaces"), uuid=uuid
    )
    (content,), holds = contents_and_holds([found.vat], now, wheels=[found])
    held = holds.get(("wheel", found.pk), [])
    place = where_is([found.pk])[found.pk]
    life = life_of(found)
    context = {
        "now": now,
        "wheel": found,
        "held": held,
        **answer(found, place.kind, bool(held), content),
        "place": place,
        "lies": lies(found),
        "content": content,
        "twin": None if found.is_struck else twin_of(found),
        "months": full_months(local_day(found.happened_at), local_day(now)),
        "life": life,
        "soaks": soaks_of(life, now),
        "weights": weights_of(found, life),
        **acts(request, found, place.kind, held=bool(held)),
    }
    return render(request, "milk/wheel.html", context)


@action_required("read")
@require_safe
def trace_paper(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Where a wheel came from and where it went, on one sheet: page, table file or PDF."""
    found = get_object_or_404(
        Wheel.objects.standing().select_related("vat__starter_can"), uuid=uuid
    )
    paper = wheel_trace_paper(found, by=request.user, at=timezone.now())
    return hand_over(request, paper, "milk/wheel_trace.html", {"wheel": found})


def lies(wheel: Wheel) -> WheelPlace | None:
    """Where the book has it; None in the dairy."""
    return WheelPlace.objects.select_related("place", "last_place").filter(wheel=wheel).first()


def twin_of(wheel: Wheel) -> Wheel | None:
    """The other wheel of its vat."""
    others = Wheel.objects.standing().filter(vat=wheel.vat).exclude(pk=wheel.pk)
    found: Wheel | None = others.select_related("lies__place").first()
    return found


def acts(request: HttpRequest, wheel: Wheel, kind: str, *, held: bool) -> dict[str, Any]:
    """What this user may write about the wheel as it stands."""
    stands = not wheel.is_struck
    here = stands and kind not in (SENT, GONE)
    return {
        "may_inspect": may(request.user, "write:inspections") and here,
        "may_lay": may(request.user, "write:store-stays") and stands and kind != GONE,
        "may_discard": may(request.user, "write:wheel-discards") and here,
        "may_take_out": may(request.user, "write:brine-outs") and kind == IN_BRINE,
        "may_miss": may(request.user, "write:store-gaps") and kind == IN_STORE,
        "may_find": may(request.user, "write:store-findings") and here,
        "may_send": may(request.user, "write:dispatches") and here and not held,
        "may_strike": may(request.user, "strike:wheels") and stands,
        "may_hold": may(request.user, "write:holds") and stands,
    }


def answer(wheel: Wheel, kind: str, held: bool, content: Any) -> dict[str, str]:
    """The one word about a wheel, and its form on a page."""
    if wheel.is_struck:
        return {"word": "struck", "form": "struck"}
    if kind == GONE:
        return {"word": _("no food"), "form": "closed"}
    if held:
        return {"word": "held", "form": "held"}
    return {"word": WITHHELD if content.word == WITHHELD else _("not held"), "form": content.form}
