"""The quality of the estate's milk on one page, and all results as files."""

from datetime import date
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_
from django.views.decorators.http import require_safe

from config.days import local, local_day
from config.papers import Column, Line, Paper, Part
from config.papers.handing import hand_over
from config.roles import action_required
from milk.asked import day_asked
from milk.judging import Limits
from milk.limits import plain
from milk.models import LotTest
from milk.models.limits import What
from milk.quality import MOST_MONTHS, YEAR, first_of, quality, results_between
from milk.results import UNITS

NO_MONTHS = N_("“{text}” is no number of months. Expected 1 to {most}.")
OVER_SHOWN = 20
COLUMNS = (
    Column(_l("Sampled"), 2),
    Column(_l("Lot"), 2),
    Column(_l("From"), 2),
    Column(_l("Measured"), 2),
    Column(_l("As written"), 1.5),
    Column(_l("Unit on the paper"), 1.5),
    Column(_l("Compared as"), 1.5, figures=True),
    Column(_l("Unit of the limit"), 1.5),
    Column(_l("Sample"), 1.5),
    Column(_l("Laboratory"), 2),
    Column(_l("Method"), 2),
    Column(_l("Over a limit"), 3),
)


@action_required("read")
@require_safe
def page(request: HttpRequest) -> HttpResponse:
    """How plate and cell counts stand, over ``?months=`` up to ``?until=``."""
    now = timezone.now()
    today = local_day(now)
    until = day_asked(request.GET.get("until", ""), today, today, "until")
    months = months_asked(request.GET.get("months", ""))
    if request.GET.get("as"):
        paper = paper_of(request, first_of(until, months), until)
        return hand_over(request, paper, "milk/quality.html", {})
    found = quality(now, until=until, months=months)
    context = {
        "now": now,
        "quality": found,
        "months": months,
        "shown": OVER_SHOWN,
        "query": f"until={found.last.isoformat()}&months={months}",
    }
    return render(request, "milk/quality.html", context)


def months_asked(text: str) -> int:
    """The number of months in an address, a year without one. Raises ValidationError."""
    if not text:
        return YEAR
    if not (text.isascii() and text.isdecimal() and 1 <= int(text[:4]) <= MOST_MONTHS):
        words = _(NO_MONTHS).format(text=text[:20], most=MOST_MONTHS)
        raise ValidationError({"months": words})
    return int(text[:4])


def paper_of(request: HttpRequest, first: date, last: date) -> Paper:
    """Every standing result sampled on these days, our own and suppliers', oldest first."""
    assert isinstance(request.user, User)
    in_force = Limits()
    lines = tuple(line_of(test, in_force) for test in results_between(first, last))
    return Paper(
        title=_("Results of milk"),
        stem=f"milk results {first} to {last}",
        made_by=request.user.get_full_name() or request.user.get_username(),
        made_at=timezone.now(),
        about=(
            _("Samples of {first} to {last}, struck ones left out.").format(first=first, last=last),
        ),
        parts=(Part(COLUMNS, lines, empty=_("No result is written of these days.")),),
        signed=False,
    )


def line_of(test: LotTest, in_force: Limits) -> Line:
    """One result as a line of the file."""
    over = "; ".join(words for _, words in in_force.over(test))
    value: Any = test.standard
    return Line(
        cells=(
            local(test.happened_at),
            test.lot.code,
            str(test.lot.delivery.holding) if test.lot.delivery else _("our own milk"),
            What(test.what).label.partition(",")[0],
            test.written or (str(test.get_verdict_display()) if value is None else plain(value)),
            "" if value is None else test.unit or UNITS[test.what],
            "" if value is None else plain(value),
            UNITS[test.what],
            test.sample,
            test.laboratory,
            test.method,
            over,
        ),
        url=test.lot.get_absolute_url(),
        loud=bool(over),
    )
