"""The medicine cupboard on its page, as a PDF and as a table."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from config.papers.handing import hand_over
from config.roles import action_required, may
from herd.cupboard import cupboard
from herd.cupboard_paper import cupboard_paper
from herd.forms.cupboard import CupboardForm

TEMPLATE = "herd/cupboard.html"


@action_required("read")
def shelf(request: HttpRequest) -> HttpResponse:
    """What the shelf should hold now or at a moment (``?at=``)."""
    form = CupboardForm(request.GET or None)
    if form.is_bound and not form.is_valid():
        return render(request, TEMPLATE, {"form": form}, status=400)
    now = timezone.now()
    found = cupboard((form.cleaned_data["at"] if form.is_bound else None) or now)
    paper = cupboard_paper(found, by=request.user, at=now)
    context = {"form": form, "at": found.at, "writes": may(request.user, "write:medicine-moves")}
    return hand_over(request, paper, TEMPLATE, context)
