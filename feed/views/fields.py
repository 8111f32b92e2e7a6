"""The fields: which may be cut now, what stands there, and one field with all that was done."""

from datetime import timedelta
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from config.days import local_day
from config.roles import action_required, may
from feed.models import Field
from feed.services.fields import waits
from feed.stands import Stand, stands
from feed.views.ration import check_ahead, day_of

CUTS_SHOWN = 20
DAY = timedelta(days=1)


@action_required("read")
def fields(request: HttpRequest) -> HttpResponse:
    """Every field today, or as it will be on ``?day=``: free or until when not, and what stands."""
    now = timezone.now()
    day = day_of(request)
    check_ahead(day, local_day(now) + DAY)
    found = stands(now, day)
    context = {
        "now": now,
        "day": day,
        "today": day == local_day(now),
        "free": [stand for stand in found if stand.is_free],
        "waiting": [(stand, waits(stand.field, now, day)) for stand in found if not stand.is_free],
        "tonnes": sum((stand.standing_kg or 0) for stand in found if stand.is_free) / 1000,
        "unknown": sum(stand.standing_kg is None for stand in found if stand.is_free),
        **rights(request),
    }
    return render(request, "feed/fields.html", context)


@action_required("read")
def field(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One field: when it is free, what was done, seen and cut there."""
    now = timezone.now()
    one = get_object_or_404(Field, uuid=uuid)
    context = {
        "now": now,
        "field": one,
        "stand": stand_of(one),
        "waits": waits(one, now, local_day(now)),
        "works": one.works.select_related("by").order_by("-happened_at", "-pk")[:CUTS_SHOWN],
        "walks": one.walks.select_related("by").order_by("-happened_at", "-pk")[:CUTS_SHOWN],
        "loads": one.batches.order_by("-happened_at", "-pk")[:CUTS_SHOWN],
        **rights(request),
    }
    return render(request, "feed/field.html", context)


def stand_of(field: Field) -> Stand | None:
    """What stands on one field today; None for a field that is not in the list."""
    now = timezone.now()
    found = stands(now, local_day(now))
    return next((stand for stand in found if stand.field.pk == field.pk), None)


def rights(request: HttpRequest) -> dict[str, bool]:
    """What this user may write about fields."""
    return {
        "cuts": may(request.user, "write:forage-batches"),
        "works_write": may(request.user, "write:field-works"),
        "walks_write": may(request.user, "write:field-walks"),
        "fields_write": may(request.user, "write:fields"),
    }
