"""What was measured in the tanks beside what their cows should make."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from config.roles import action_required
from milk.cells_now import cells_now


@action_required("read")
def cells(request: HttpRequest) -> HttpResponse:
    """The counts now; fetched as a panel of the udder board it is the list alone."""
    context = {"now": cells_now(timezone.now())}
    panel = request.headers.get("HX-Request") == "true"
    template = "milk/_cells_now.html" if panel else "milk/cells_now.html"
    return render(request, template, context)
