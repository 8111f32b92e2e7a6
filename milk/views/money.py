"""What was lost and why, and the owner's page of a month."""

from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.http import require_safe

from config.days import local_day
from config.forms.asked import day_asked
from config.papers.handing import hand_over
from config.roles import action_required
from milk.money import losses_between
from milk.money_paper import before, losses_paper, month_of, owner_paper

NO_MONTH = N_("“{text}” is no month. Expected one such as 2026-06.")


@action_required("read")
@require_safe
def losses(request: HttpRequest) -> HttpResponse:
    """What was lost from ``?since=`` to ``?until=``; the month before and this one without."""
    assert isinstance(request.user, User)
    now = timezone.now()
    today = local_day(now)
    since = day_asked(request.GET, "since") or before(today)
    until = day_asked(request.GET, "until") or today
    paper = losses_paper(losses_between(since, until, now), by=request.user, at=now)
    context: dict[str, Any] = {"now": now, "since": since, "until": until}
    context |= {"up": "milk:month", "up_name": _("The owner's month")}
    return hand_over(request, paper, "milk/days_paper.html", context)


@action_required("read")
@require_safe
def month(request: HttpRequest) -> HttpResponse:
    """The owner's page of ``?month=2026-06``; the last whole month without."""
    assert isinstance(request.user, User)
    now = timezone.now()
    text = request.GET.get("month", "").strip()
    try:
        first, last = month_of(text, local_day(now))
    except ValueError as error:
        raise ValidationError({"month": _(NO_MONTH).format(text=text[:20])}) from error
    paper = owner_paper(first, last, by=request.user, at=now)
    context = {"now": now, "month": f"{first:%Y-%m}"}
    return hand_over(request, paper, "milk/month.html", context)
