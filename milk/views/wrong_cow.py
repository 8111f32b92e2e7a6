"""The button “wrong cow in tank”: one screen, one press; then the hold's own page says the rest."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.once import once_only
from config.roles import action_required
from config.views.entries import stamp_of
from milk.forms.wrong_cow import WrongCowForm
from milk.in_tanks import in_tanks
from milk.models import Tank
from milk.services.wrong_cow import record_wrong_cow

STOPPED = N_("{tank} is held since {at}. Close its valve now; nothing more goes into it.")
REST = N_(" The rest goes to {tank}.")


@action_required("write:wrong-cows")
@once_only
def wrong_cow(request: HttpRequest) -> HttpResponse:
    """Which tank, how much is in it, what must be closed; a POST stops it."""
    form = WrongCowForm(request.POST or None, initial=request.GET.dict())
    if form.is_valid():
        stamp = stamp_of(request, form)
        made = form.carry_out(record_wrong_cow, stamp=stamp, **form.values())
        if made is not None:
            at = timezone.localtime(made.happened_at).strftime("%H:%M")
            said = _(STOPPED).format(tank=capfirst(str(made.tank)), at=at)
            said += _(REST).format(tank=made.to_tank) if made.to_tank else ""
            messages.success(request, said)
            return redirect("milk:hold", uuid=made.hold.uuid)
    now = timezone.now()
    contents = [one for one in in_tanks(now) if one.tank.use != Tank.Use.WASTE]
    context = {"form": form, "now": now, "contents": contents}
    return render(request, "milk/wrong_cow.html", context)
