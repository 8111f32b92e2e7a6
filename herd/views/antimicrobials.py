"""The use of antimicrobials on its page, as a PDF and as a table."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from config.papers.handing import hand_over
from config.roles import action_required
from herd.antimicrobials import usage, year_before
from herd.antimicrobials_paper import antimicrobials_paper
from herd.forms.antimicrobials import QuartersForm

TEMPLATE = "herd/antimicrobials.html"


@action_required("read")
def antimicrobials(request: HttpRequest) -> HttpResponse:
    """The last four quarters, or those that the days asked for lie in."""
    form = QuartersForm(request.GET or None)
    if form.is_bound and not form.is_valid():
        return render(request, TEMPLATE, {"form": form}, status=400)
    asked = form.cleaned_data if form.is_bound else {}
    until = asked.get("until") or timezone.localdate()
    since = asked.get("since") or year_before(until)
    paper = antimicrobials_paper(usage(since, until), by=request.user, at=timezone.now())
    return hand_over(request, paper, TEMPLATE, {"form": form})
