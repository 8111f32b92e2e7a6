"""Labels of a day's wheels, as a sheet to print."""

from datetime import timedelta

from django.db.models import Max
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _

from config.errors import Conflict
from config.labels import ON_A_PAGE, label_sheets
from config.papers import file_name
from config.roles import action_required, may
from milk.asked import day_asked
from milk.models import Vat
from milk.wheel_labels import labels_of, product_on, wheels_of


@action_required("read")
def labels(request: HttpRequest) -> HttpResponse:
    """The labels of a vat day (``?day=``), to look at or with ``?as=pdf`` to print."""
    now = timezone.now()
    today = timezone.localdate(now)
    last = Vat.objects.standing().filter(day__lte=today).aggregate(last=Max("day"))["last"]
    day = day_asked(request.GET.get("day", ""), last or today, today)
    wheels = wheels_of(day)
    try:
        made = labels_of(wheels, product_on(today))
        refused = ""
    except Conflict as error:
        made, refused = [], str(error)
    if request.GET.get("as") == "pdf" and made:
        return as_pdf(
            label_sheets(made, _("Labels of {day}").format(day=day)),
            f"labels {day}",
        )
    context = {
        "now": now,
        "day": day,
        "earlier": day - timedelta(days=1),
        "later": day + timedelta(days=1) if day < today else None,
        "rows": list(zip(wheels, made, strict=False)),
        "wheels": len(wheels),
        "pages": -(-len(made) // ON_A_PAGE),
        "refused": refused,
        "may_write": may(request.user, "write:products"),
    }
    return render(request, "milk/labels.html", context)


def as_pdf(content: bytes, stem: str) -> HttpResponse:
    """A sheet of labels to print."""
    name = file_name(stem, "pdf")
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'attachment; filename="{name}"',
            "Cache-Control": "private, no-store",
            "X-Content-Type-Options": "nosniff",
        },
    )
