"""The heads of sealed days, a month at a time, on a page and on paper."""

from datetime import UTC, date, datetime

from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _

from config.models import SealedDay
from config.papers.handing import hand_over
from config.roles import action_required
from config.seals.paper import heads_paper

FORM = "%Y-%m"


@action_required("read")
def seals(request: HttpRequest) -> HttpResponse:
    """The sealed days of ``?month=2026-06`` (default: that of the last one)."""
    last = SealedDay.objects.order_by("-day").first()
    now = timezone.now()
    month = month_asked(request.GET.get("month", ""), last.day if last else now.date())
    after = next_month(month)
    days = list(
        SealedDay.objects.filter(day__gte=month, day__lt=after).order_by("day").defer("marks")
    )
    first = SealedDay.objects.order_by("day").values_list("day", flat=True).first()
    paper = heads_paper(
        days,
        month=month,
        by=str(request.user),
        at=now,
    )
    context = {
        "now": now,
        "before": month_before(month) if first and first < month else None,
        "after": after if last and last.day >= after else None,
    }
    return hand_over(request, paper, "config/seals.html", context)


def month_asked(text: str, default: date) -> date:
    """The first day of a month written 2026-06. Raises Http404 with what was expected."""
    if not text:
        return default.replace(day=1)
    try:
        return datetime.strptime(text, FORM).replace(tzinfo=UTC).date()
    except ValueError:
        wrong = _("“%(text)s” is no month. Expected one such as 2026-06.") % {"text": text[:20]}
        raise Http404(wrong) from None


def next_month(month: date) -> date:
    """The first day of the month after."""
    return date(month.year + month.month // 12, month.month % 12 + 1, 1)


def month_before(month: date) -> date:
    """The first day of the month before."""
    return date(month.year - (month.month == 1), (month.month - 2) % 12 + 1, 1)
