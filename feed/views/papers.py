"""The papers of the feed, as a page, a table file (``?as=csv``) and a PDF (``?as=pdf``)."""

from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local_day
from config.forms.asked import day_asked
from config.forms.fields import MomentField
from config.papers.handing import hand_over
from config.replica import may_lag
from config.roles import action_required
from feed.paper_lines import Asked
from feed.papers import PAPERS

USUAL = timedelta(days=30)
WRONG_WAY_ROUND = N_("The last day, {last}, comes before the first, {first}.")
TOO_LONG = N_("{first} to {last} is too long for this paper: expected {most} days at most.")
NOT_YET = N_("Nobody knows yet what will be known at {at}. Expected a moment behind us.")


@action_required("read")
def papers(request: HttpRequest) -> HttpResponse:
    """Which papers there are."""
    listed = [(slug, _(one[0]), _(one[3])) for slug, one in PAPERS.items()]
    return render(request, "feed/papers.html", {"papers": listed, "now": timezone.now()})


@action_required("read")
@may_lag
def paper(request: HttpRequest, slug: str) -> HttpResponse:
    """One paper, about ``?from=`` to ``?to=``, as known at ``?known=``."""
    if slug not in PAPERS:
        raise Http404(slug)
    title, make, most, help_words = PAPERS[slug]
    asked = asked_by(request, most)
    context = {
        "slug": slug,
        "title": _(title),
        "help": _(help_words),
        "asked": asked,
        "known": request.GET.get("known", ""),
        "now": asked.made_at,
    }
    return hand_over(request, make(asked), "feed/paper.html", context)


def asked_by(request: HttpRequest, most: int) -> Asked:
    """What the address asks for: the last 30 days as a rule. Raises ValidationError by name."""
    now = timezone.now()
    user = request.user
    assert user.is_authenticated
    last = day_asked(request.GET, "to") or local_day(now)
    first = day_asked(request.GET, "from") or last - USUAL + timedelta(days=1)
    if first > last:
        raise ValidationError({"from": _(WRONG_WAY_ROUND).format(first=first, last=last)})
    if (last - first).days >= most:
        raise ValidationError({"from": _(TOO_LONG).format(first=first, last=last, most=most)})
    return Asked(
        first=first,
        last=last,
        made_by=user.get_full_name() or user.username,
        made_at=now,
        known_at=known_of(request, now),
    )


def known_of(request: HttpRequest, now: datetime) -> datetime:
    """As known at which moment; now as a rule. Raises ValidationError at ``known``."""
    try:
        found: datetime | None = MomentField(required=False).clean(request.GET.get("known", ""))
    except ValidationError as error:
        raise ValidationError({"known": error.messages}) from error
    if found is not None and found > now:
        raise ValidationError({"known": _(NOT_YET).format(at=request.GET["known"][:20])})
    return found or now
