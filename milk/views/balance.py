"""The day's milk in and out, and the sentence that says what is not written."""

from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from config.roles import action_required, may
from milk.asked import day_asked, tomorrow
from milk.day_balance import ASK, ASK_AT_ONCE, IN_ORDER, balance_on, last_whole_day
from milk.not_written import sentences

FORMS = {IN_ORDER: "released", ASK: "held", ASK_AT_ONCE: "held"}


@action_required("read")
def balance(request: HttpRequest) -> HttpResponse:
    """One day of the dairy: in, out, what is missing; today's is still open."""
    now = timezone.now()
    day = day_asked(request.GET.get("day", ""), last_whole_day(now), tomorrow())
    found = balance_on(day)
    context = {
        "now": now,
        "found": found,
        "form_of_word": FORMS.get(found.word, "unsure"),
        "sentences": sentences(found),
        "is_over": found.until <= now,
        "before": day - timedelta(days=1),
        "after": day + timedelta(days=1) if found.until <= now else None,
        "may_set": may(request.user, "write:milk-figures"),
        "may_fill": may(request.user, "write:vat-fills"),
    }
    return render(request, "milk/balance.html", context)
