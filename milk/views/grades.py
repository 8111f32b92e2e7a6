"""Shares of first, second and downgraded by what wheels have in common."""

from datetime import date

from django.conf import settings
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.replica import may_lag
from config.roles import action_required
from milk.age import months_later
from milk.asked import day_asked
from milk.figures import figures_on
from milk.grade_shares import NAMES, SHOWN, By, Shares, grade_shares
from milk.models import MilkFigure
from milk.trace import fed_before_rule

NOT_BY = N_("Wheels are not put together by “{text}”. Expected one of: {known}.")
# A year of makes that are ripe is what people look at; without the estate's age, the last year.
MONTHS_SHOWN = 12


@action_required("read")
@may_lag
def shares(request: HttpRequest) -> HttpResponse:
    """Shares by ``?by=``, of wheels made ``?since=`` to ``?until=``."""
    found = asked_shares(request)
    context = {
        "now": timezone.now(),
        "found": found,
        "name": _(NAMES[found.by]),
        "names": [(by.value, _(name)) for by, name in NAMES.items()],
        "groups": found.groups[:SHOWN],
        "more": max(len(found.groups) - SHOWN, 0),
    }
    return render(request, "milk/grade_shares.html", context)


def asked_shares(request: HttpRequest) -> Shares:
    """What was asked for; a range the wrong way round is turned."""
    now = timezone.now()
    today = timezone.localdate(now)
    figures = figures_on(today)
    ripe = figures.get(MilkFigure.What.RIPE_FROM)
    last = months_later(today, -int(ripe.value)) if ripe else today
    until = day_asked(request.GET.get("until", ""), last, today)
    since = day_asked(request.GET.get("since", ""), months_later(until, -MONTHS_SHOWN), today)
    by = request.GET.get("by", "") or By.DAY
    if by not in NAMES:
        known = ", ".join(one.value for one in NAMES)
        raise ValidationError({"by": _(NOT_BY).format(text=by[:40], known=known)})
    return of_range(By(by), min(since, until), max(since, until))


def of_range(by: By, since: date, until: date) -> Shares:
    """The shares of a range of days, judged by today's bounds."""
    now = timezone.now()
    today = timezone.localdate(now)
    return grade_shares(
        by,
        since,
        until,
        today=today,
        zone=settings.TIME_ZONE,
        figures=figures_on(today),
        fed_before=fed_before_rule(now),
    )
