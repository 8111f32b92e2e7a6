"""The first day's page: what to write first, and what the book holds of it."""

from django.contrib import messages
from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from config import first_day
from config.entries import Stamp
from config.once import once_only
from config.roles import action_required


@action_required("read")
def page(request: HttpRequest) -> HttpResponse:
    """The steps in their order, those that are done ticked by what the book holds."""
    now = timezone.now()
    found = first_day.stands(request.user, now)
    needed = [one for one in found if one.step.needed]
    context = {
        "now": now,
        "needed": needed,
        "rest": [one for one in found if not one.step.needed],
        "left": sum(not one.held.done for one in needed),
        "next": next((one for one in needed if one.is_next), None),
    }
    return render(request, "config/first_day.html", context)


@action_required("write:period-rules")
@once_only
@require_POST
def rules(request: HttpRequest) -> HttpResponse:
    """Write the dated rules every estate starts with, in the name of whoever asks for it."""
    user = request.user
    assert not isinstance(user, AnonymousUser)
    written = first_day.write_rules(Stamp.now(user))
    said = ngettext("Written: {count} rule.", "Written: {count} rules.", written)
    messages.success(request, said.format(count=written) if written else _("All are there."))
    return redirect("first-day")
