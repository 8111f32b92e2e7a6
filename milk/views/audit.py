"""An auditor's month: every paper of it in one place; and the make, day by day."""

from datetime import timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.http import require_safe

from config.days import local_day
from config.forms.asked import day_asked
from config.papers import file_name
from config.papers.handing import hand_over
from config.roles import action_required
from milk.audit import Month, all_of, papers_of
from milk.make_paper import make_paper
from milk.money import check_days
from milk.money_paper import month_of
from milk.views.money import NO_MONTH

NOT_BEGUN = N_("{month} has not begun. Expected a month of which something can be written.")
USUAL = timedelta(days=29)


@action_required("read")
@require_safe
def month(request: HttpRequest) -> HttpResponse:
    """The papers of ``?month=2026-06`` (the last whole month without), or all as ``?as=zip``."""
    now = timezone.now()
    today, text = local_day(now), request.GET.get("month", "").strip()
    try:
        first, last = month_of(text, today)
    except ValueError as error:
        raise ValidationError({"month": _(NO_MONTH).format(text=text[:20])}) from error
    if first > today:
        raise ValidationError({"month": _(NOT_BEGUN).format(month=text)})
    last = min(last, today)
    ending = request.GET.get("as", "")
    if ending == "zip":
        name = file_name(f"auditor {first} to {last}", "zip")
        return HttpResponse(
            all_of(Month(first, last, request.user, now)),
            content_type="application/zip",
            headers={
                "Content-Disposition": f'attachment; filename="{name}"',
                "Cache-Control": "private, no-store",
                "X-Content-Type-Options": "nosniff",
            },
        )
    if ending:
        raise Http404(ending)
    context = {
        "now": now,
        "month": f"{first:%Y-%m}",
        "first": first,
        "last": last,
        "papers": list(papers_of(first, last)),
    }
    return render(request, "milk/auditor.html", context)


@action_required("read")
@require_safe
def make(request: HttpRequest) -> HttpResponse:
    """The make day by day, ``?since=`` to ``?until=``; the last thirty days without."""
    now = timezone.now()
    today = local_day(now)
    until = min(day_asked(request.GET, "until") or today, today)
    since = day_asked(request.GET, "since") or until - USUAL
    check_days(since, until)
    paper = make_paper(since, until, by=request.user, at=now)
    context: dict[str, Any] = {"now": now, "since": since, "until": until}
    context |= {"up": "milk:auditor", "up_name": _("An auditor’s month")}
    return hand_over(request, paper, "milk/days_paper.html", context)
