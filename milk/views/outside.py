"""Findings of others in our milk and cheese: the list, and the file of each."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.http import require_safe

from config.language import in_estate_language
from config.papers import joined
from config.papers.handing import hand_over
from config.roles import action_required, may
from milk.models import OutsideFinding, OutsideStep
from milk.outside_paper import file_of, outside_paper

SHOWN = 60
REASON = N_("{thing} found in {where} by {by}, paper {paper}")


@action_required("read")
@require_safe
def findings(request: HttpRequest) -> HttpResponse:
    """The latest findings, open files first."""
    closing = OutsideStep.objects.standing().filter(what=OutsideStep.What.CLOSED)
    closed = dict(closing.values_list("finding_id", "happened_at"))
    rows = OutsideFinding.objects.standing().order_by("-happened_at", "-id")[:SHOWN]
    told = [(one, closed.get(one.pk)) for one in rows]
    context = {
        "now": timezone.now(),
        "rows": sorted(told, key=lambda row: row[1] is not None),
        "may_write": may(request.user, "write:outside-findings"),
    }
    return render(request, "milk/findings.html", context)


@action_required("read")
@require_safe
def finding(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The file of a finding, as a page, a table file or a PDF."""
    found: OutsideFinding = get_object_or_404(
        OutsideFinding.objects.select_related("by", "struck_by"), uuid=uuid
    )
    now = timezone.now()
    file = file_of(found, now)
    stands = not found.is_struck
    with in_estate_language():
        reason = _(REASON).format(
            thing=joined([found.substance, found.result], " "),
            where=found.about_name,
            by=found.get_found_by_display(),
            paper=found.paper,
        )
    context = {
        "finding": found,
        "closed": file.closed,
        "reason": reason,
        "boards": file.boards,
        "may_step": may(request.user, "write:outside-steps") and stands and not file.closed,
        "may_recall": may(request.user, "write:recalls") and stands,
    }
    paper = outside_paper(file, by=request.user, at=now)
    return hand_over(request, paper, "milk/finding.html", context)
