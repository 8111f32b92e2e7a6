"""The brine: what goes out today, rows in and out, how strong each bath is."""

from datetime import date, datetime, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.once import once_only
from config.roles import action_required, may
from config.views.entries import stamp_of
from milk.brine_board import Board, RowNow, board
from milk.forms.store import RowInForm, RowOutForm
from milk.models import Wheel, WheelPlace
from milk.services.brine import row_in, row_out

WENT_IN = N_("Written: {number} wheels into bath {bath}{row}.")
CAME_OUT = N_("Written: {number} wheels out of bath {bath}{row}. Lay them in store next.")
# Wheels are put into brine within days; older ones without a place are found by the search.
WAITING_DAYS = 6
WAITING_SHOWN = 200


@action_required("read")
def brine(request: HttpRequest) -> HttpResponse:
    """The rows of the brine, what is due first; and what waits to go in."""
    now = timezone.now()
    found = board(now)
    context = {
        "now": now,
        "board": found,
        "groups": groups_of(found),
        "waiting": waiting(now),
        "out": WheelPlace.objects.filter(what=WheelPlace.What.OUT).count(),
        "may_in": may(request.user, "write:brine-stays"),
        "may_out": may(request.user, "write:brine-outs"),
        "may_measure": may(request.user, "write:brine-readings"),
    }
    return render(request, "milk/brine.html", context)


def groups_of(found: Board) -> list[tuple[str, list[RowNow]]]:
    """The rows under a title each: what is due, then the rest by the days left."""
    due = list(found.due)
    rest = [row for row in found.rows if not row.is_due]
    return [(_("Out today"), due), (_("Still in brine"), rest)]


def waiting(now: datetime) -> list[dict[str, Any]]:
    """By day, the vats whose wheels are numbered and lie nowhere yet, the oldest first."""
    since = now - timedelta(days=WAITING_DAYS)
    rows = (
        Wheel.objects.standing()
        .filter(happened_at__gte=since, lies=None)
        .select_related("vat")
        .order_by("vat__day", "vat__round", "vat__number", "twin")[:WAITING_SHOWN]
    )
    days: dict[date, list[Wheel]] = {}
    for wheel in rows:
        days.setdefault(wheel.vat.day, []).append(wheel)
    return [
        {"day": day, "wheels": len(wheels), "vats": spans({w.vat.number for w in wheels})}
        for day, wheels in days.items()
    ]


def spans(numbers: set[int]) -> str:
    """Numbers in short: “1-6, 9”."""
    parts: list[list[int]] = []
    for number in sorted(numbers):
        if parts and number == parts[-1][-1] + 1:
            parts[-1].append(number)
        else:
            parts.append([number])
    return ", ".join(f"{p[0]}-{p[-1]}" if len(p) > 1 else str(p[0]) for p in parts)


@action_required("write:brine-stays")
@once_only
def brine_in(request: HttpRequest) -> HttpResponse:
    """Put the wheels of vats, or of plates, into a row."""
    start = {name: request.GET.get(name, "")[:200] for name in ("bath", "row", "day", "vats")}
    form = RowInForm(request.POST or None, initial={k: v for k, v in start.items() if v})
    if form.is_valid():
        values = form.cleaned_data
        made = form.carry_out(
            row_in,
            stamp=stamp_of(request, form),
            bath=values["bath"],
            row=values["row"],
            wheels=values["wheels"],
        )
        if made is not None:
            messages.success(request, said(_(WENT_IN), len(made), values))
            return redirect("milk:brine")
    context = {"form": form, "now": timezone.now(), "free": board().free}
    return render(request, "milk/brine_in.html", context)


@action_required("write:brine-outs")
@once_only
def brine_out(request: HttpRequest) -> HttpResponse:
    """Take everything out of a row."""
    start = {name: request.GET.get(name, "")[:20] for name in ("bath", "row")}
    form = RowOutForm(request.POST or None, initial=start)
    if form.is_valid():
        values = form.cleaned_data
        made = form.carry_out(
            row_out, stamp=stamp_of(request, form), bath=values["bath"], row=values["row"]
        )
        if made is not None:
            messages.success(request, said(_(CAME_OUT), len(made), values))
            return redirect("milk:brine")
    found = board()
    bath, row = form["bath"].value() or "", form["row"].value() or ""
    lying = next((one for one in found.rows if (one.bath, one.row) == (bath, row)), None)
    context = {"form": form, "now": timezone.now(), "lying": lying}
    return render(request, "milk/brine_out.html", context)


def said(words: str, number: int, values: dict[str, str]) -> str:
    row = _(", row {row}").format(row=values["row"]) if values["row"] else ""
    return words.format(number=number, bath=values["bath"], row=row).replace(
        " 1 wheels", " 1 wheel"
    )
