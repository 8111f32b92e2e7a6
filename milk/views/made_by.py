"""Which cows made this lot: cells, feed, washing; each list with how sure it is."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from config.roles import action_required
from milk.made_by import made_by
from milk.models import MilkLot

# More cows make a page nobody reads; the file by API has all.
SHOWN = 60


@action_required("read")
def cows(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One lot: who made its cells, what if some cows went out, what was fed, how it was kept."""
    lot = get_object_or_404(MilkLot.objects.select_related("tank", "delivery__holding"), uuid=uuid)
    now = timezone.now()
    found = made_by(lot, now)
    cells = found.cells
    most = len(cells.rows) if request.GET.get("all") == "yes" else SHOWN
    context = {
        "lot": lot,
        "now": now,
        "found": found,
        "cells": cells,
        "rows": [(cow, share, cells.numbers[cow.cow]) for cow, share in cells.rows[:most]],
        "more": max(0, len(cells.rows) - most),
    }
    return render(request, "milk/made_by.html", context)
