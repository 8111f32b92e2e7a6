"""The papers of the store: stock for bank and insurer, log of brine and rooms."""

from datetime import timedelta

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.http import require_safe

from config.days import local_day
from config.papers.handing import hand_over
from config.replica import may_lag
from config.roles import action_required
from milk.asked import day_asked
from milk.stock_paper import stock_paper
from milk.store_papers import climate_paper

# A month of readings three times a day is no page for a phone; who wants it asks for it.
WEEK = timedelta(days=6)
LONGEST = timedelta(days=800)
TOO_LONG = N_("At most {days} days in one paper. Ask for less at once.")
WRONG_WAY = N_("The first day is after the last.")


def name_of(request: HttpRequest) -> str:
    return request.user.get_full_name() or request.user.get_username()  # type: ignore[union-attr]


@action_required("read")
@require_safe
@may_lag
def stock(request: HttpRequest) -> HttpResponse:
    """The stock of wheels by age and grade, with the counts behind it."""
    paper = stock_paper(timezone.now(), name_of(request))
    return hand_over(request, paper, "milk/stock.html", {"now": paper.made_at})


@action_required("read")
@require_safe
@may_lag
def climate(request: HttpRequest) -> HttpResponse:
    """Readings of baths and rooms, rows taken out, and rounds, over ``?since=`` to ``?until=``."""
    today = local_day(timezone.now())
    until = day_asked(request.GET.get("until", ""), today, today, "until")
    since = day_asked(request.GET.get("since", ""), until - WEEK, today, "since")
    if since > until:
        raise ValidationError({"since": _(WRONG_WAY)})
    if until - since > LONGEST:
        raise ValidationError({"since": TOO_LONG.format(days=LONGEST.days)})
    paper = climate_paper(since, until, name_of(request))
    context = {"now": paper.made_at, "since": since, "until": until}
    return hand_over(request, paper, "milk/climate.html", context)
