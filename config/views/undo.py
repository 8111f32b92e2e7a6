"""Taking back what was written half a minute ago at most."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.http import require_POST

from config.once import once_only
from config.roles import action_required
from config.undo import take_back

UNDONE = N_("Taken back: {entry}. It stays readable, crossed through.")


@require_POST
@action_required("read")
@once_only
def undo(request: HttpRequest) -> HttpResponse:
    """Strike what this person has just written, and go back to where it was written."""
    found = take_back(request, request.POST.get("entry", "")[:36])
    messages.success(request, _(UNDONE).format(entry=found.words))
    return redirect(found.page or "home")
