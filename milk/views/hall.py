"""The dairy hall: what may be poured, starter and rennet, wheels today, plates, the vat sheet."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from config.papers.handing import hand_over
from config.roles import action_required, may
from milk.asked import day_asked, tomorrow
from milk.day_make import day_make
from milk.hall_milk import Standing, names_said
from milk.hall_papers import plate_register, vat_sheet
from milk.models import Vat
from milk.starter_and_rennet import cans, rennet
from milk.views.vats import next_number
from milk.wheels_today import said, wheels_of_day


@action_required("read")
def pour(request: HttpRequest) -> HttpResponse:
    """Every tray and tank: POUR or DO NOT POUR, of what it is, and how much cream to take."""
    now = timezone.now()
    made = day_make(timezone.localdate(now), now)
    against = [one for one in made.standing if one.against]
    open_vats = Vat.objects.standing().filter(day=made.day, set_at=None, lifted_at=None)
    context = {
        "now": now,
        "made": made,
        "rows": made.standing,
        "groups": groups_of(made.standing, now),
        "against": names_said(against),
        "rest": len(made.standing) - len(against),
        "any_trays": any(one.tray for one in made.standing),
        "open_vats": list(open_vats.order_by("round", "number")),
        "begin": next_number([one.vat for one in made.vats]),
        "may_begin": may(request.user, "write:vats"),
        "may_fill": may(request.user, "write:vat-fills"),
        "may_skim": may(request.user, "write:skimmings"),
        "may_keep": may(request.user, "write:kept-over"),
        "may_tray": may(request.user, "write:trays"),
    }
    return render(request, "milk/pour.html", context)


def groups_of(standing: Sequence[Standing], at: datetime) -> list[dict[str, Any]]:
    """Trays and tanks by why they may not be poured, those first; the reason is said once."""
    by_reason: dict[str, list[dict[str, Any]]] = {}
    for one in sorted(standing, key=lambda one: not one.against):
        by_reason.setdefault(one.against, []).append({"one": one, "age": one.age(at)})
    return [{"why": why, "rows": rows} for why, rows in by_reason.items()]


@action_required("read")
def starter(request: HttpRequest) -> HttpResponse:
    """The cans of these days, free or held, and the rennet by batch."""
    now = timezone.now()
    found = cans(now)
    context = {
        "now": now,
        "cans": found,
        "free": [one for one in found if not one.held],
        "held": [one for one in found if one.held],
        "batches": rennet(now),
        "may_fill": may(request.user, "write:starter-cans"),
        "may_receive": may(request.user, "write:rennet-batches"),
    }
    return render(request, "milk/starter.html", context)


@action_required("read")
def wheels_today(request: HttpRequest) -> HttpResponse:
    """The wheels of a day (``?day=``): do vats, twins and plates match, are the weights there."""
    now = timezone.now()
    today = timezone.localdate(now)
    day = day_asked(request.GET.get("day", ""), today, today)
    found, words = wheels_of_day(day, now)
    context = {
        "now": now,
        "day": day,
        "rows": [{"one": one, "due": one.unweighed(now)} for one in found],
        "answer": said(found, now),
        "any_due": any(one.unweighed(now) for one in found),
        "any_unweighed": any(wheel.kg is None for one in found for wheel in one.wheels),
        "words": words,
        "earlier": day - timedelta(days=1),
        "later": day + timedelta(days=1) if day < today else None,
        "may_number": may(request.user, "write:wheels"),
        "may_weigh": may(request.user, "write:wheel-weights"),
        "may_swap": may(request.user, "strike:wheels"),
    }
    return render(request, "milk/wheels_today.html", context)


@action_required("read")
def plates(request: HttpRequest) -> HttpResponse:
    """Every plate accounted for, as a page, a table file and a PDF."""
    now = timezone.now()
    context = {
        "now": now,
        "may_receive": may(request.user, "write:plate-receipts"),
        "may_lose": may(request.user, "write:plate-losses"),
    }
    paper = plate_register(by=request.user, at=now)
    return hand_over(request, paper, "milk/plates.html", context)


@action_required("read")
def sheet_of_vats(request: HttpRequest) -> HttpResponse:
    """The vat sheet of a day (``?day=``), as a page, a table file and a PDF."""
    now = timezone.now()
    day = day_asked(request.GET.get("day", ""), timezone.localdate(now), tomorrow())
    paper = vat_sheet(day, by=request.user, at=now)
    return hand_over(request, paper, "milk/vat_sheet.html", {"now": now, "day": day})
