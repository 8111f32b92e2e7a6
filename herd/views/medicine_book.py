"""The medicine book on its page, as a PDF and as a table."""

from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from config.papers.handing import hand_over
from config.roles import action_required
from herd.book_asked import asked_for
from herd.book_entries import Asked
from herd.book_paper import book_paper, whom_words
from herd.forms.medicine_book import MedicineBookForm
from herd.medicine_book import medicine_book

TEMPLATE = "herd/medicine_book.html"
# What somebody took with them last, so that the next paper can go on from there.
TAKEN = "medicine book taken"


@action_required("read")
def book(request: HttpRequest) -> HttpResponse:
    """The book of the last three months, or of what is asked for; ``?as=pdf`` or ``?as=csv``."""
    form = MedicineBookForm(request.GET or None)
    if form.is_bound and not form.is_valid():
        return render(request, TEMPLATE, {"form": form}, status=400)
    asked = form.asked or asked_for()
    paper = book_paper(medicine_book(asked), by=request.user, at=timezone.now())
    answer = hand_over(
        request,
        paper,
        TEMPLATE,
        {"form": form, "asked": asked, "whom": whom_words(asked), "again": again(request)},
    )
    if request.GET.get("as"):
        request.session[TAKEN] = taken(asked)
    return answer


def taken(asked: Asked) -> dict[str, str]:
    """What was taken, as it is kept with the session."""
    return {
        "animal": str(asked.animal.uuid) if asked.animal else "",
        "group": str(asked.group.number) if asked.group else "",
        "whom": whom_words(asked),
        "until": asked.last.isoformat(),
    }


def again(request: HttpRequest) -> dict[str, Any] | None:
    """The same book for the time since the one taken last; None when there is no such time."""
    last = request.session.get(TAKEN)
    if not last:
        return None
    since = date.fromisoformat(last["until"]) + timedelta(days=1)
    if since > timezone.localdate():
        return None
    query = {name: last[name] for name in ("animal", "group") if last[name]}
    address = f"{reverse('herd:medicine-book')}?{urlencode({**query, 'since': since})}"
    return {"url": address, "whom": last["whom"], "since": since}
