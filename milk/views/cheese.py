"""What laboratories found in the cheese of a vat."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from config.roles import action_required, may
from milk.cheese_results import results_of
from milk.held import open_holds
from milk.models import Vat


@action_required("read")
def cheese(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The results of one vat's cheese: held or not, criterion by criterion."""
    vat = get_object_or_404(Vat, uuid=uuid)
    context = {
        "now": timezone.now(),
        "vat": vat,
        "found": results_of(vat),
        "held": open_holds(vat_ids=[vat.pk]).get(("vat", vat.pk), []),
        "may_test": may(request.user, "write:cheese-tests") and not vat.is_struck,
    }
    return render(request, "milk/cheese.html", context)
