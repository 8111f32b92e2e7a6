"""Tapping: down an aisle, one touch for a good wheel, two for a bad one, half a minute to undo."""

from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.http import require_POST

from config.forms.fields import find_entry
from config.once import once_only
from config.roles import action_required, check_may_strike, may
from config.views.entries import stamp_of
from milk.figures import figures_on
from milk.forms.tap import TapForm
from milk.grades import faults_on
from milk.models import Grade, Inspection, StorePlace, Wheel
from milk.services.grading import record_inspection, strike_inspection
from milk.tapping import DUE, EVERY, ahead, aisles, in_row, next_in, round_of

# Long enough to see the slip, short enough that nobody undoes another day's work.
UNDO = timedelta(seconds=30)
UNDONE = N_("Taken back: {wheel}. It is up again.")
NOT_YOURS = N_("Only what you tapped yourself is taken back here.")
WITH_FAULT = (Grade.SLIGHT, Grade.SECOND, Grade.DOWNGRADED)


@action_required("read")
def tap(request: HttpRequest) -> HttpResponse:
    """The aisles, or with ``?room=&aisle=`` (``&after=column/shelf``) the wheel that is next."""
    now = timezone.now()
    due = round_of(now, figures_on(timezone.localdate(now)))
    asked = asked_of(request)
    wheel, left = None, 0
    if asked["plate"]:
        wheel = plate_asked(request, asked["plate"])
    elif asked["room"]:
        wheel, left = next_in(
            asked["room"],
            asked["aisle"],
            after=asked["after"],
            which=asked["which"],
            due=due,
            at=now,
        )
    context = {"now": now, "asked": asked, "query": query_of(asked), "due": DUE, "every": EVERY}
    context |= {"last": last_tap(request, now), "may_tap": may(request.user, "write:inspections")}
    if wheel is None:
        return render(request, "milk/tap_aisles.html", {**context, "aisles": aisles(due)})
    return render(request, "milk/tap.html", {**context, **screen(request, wheel, left, asked, now)})


@action_required("read")
def tap_aisle(request: HttpRequest, room: str, number: int) -> HttpResponse:
    """All wheels of an aisle left to tap, on one page (``?which=every``: not only those due).

    A phone keeps it, so that it works where there is no network.
    """
    now = timezone.now()
    which = EVERY if request.GET.get("which") == EVERY else DUE
    due = round_of(now, figures_on(timezone.localdate(now)))
    if not StorePlace.objects.standing().filter(room=room, aisle=number).exists():
        raise Http404(f"{room}/{number}")
    context = {
        "now": now,
        "room": room,
        "aisle": number,
        "which": which,
        "due": DUE,
        "every": EVERY,
        "wheels": in_row(room, number, which=which, due=due, at=now),
        "query": urlencode({"room": room, "aisle": number, "which": which, "list": "yes"}),
        "may_tap": may(request.user, "write:inspections"),
        "last": last_tap(request, now),
    }
    return render(request, "milk/tap_aisle.html", context)


def screen(
    request: HttpRequest, wheel: Wheel, left: int, asked: dict[str, Any], now: datetime
) -> dict[str, Any]:
    """What the screen of one wheel shows."""
    seen = ahead(wheel, now)
    grade = request.GET.get("grade", "")
    place = seen.place
    after = f"{place.column}/{place.shelf}" if place else asked["at"]
    return {
        "seen": seen,
        "left": left,
        "bad": WITH_FAULT,
        "grade": Grade(grade) if grade in WITH_FAULT else None,
        "faults": faults_on(timezone.localdate(now)) if grade in WITH_FAULT else [],
        "skip": query_of({**asked, "at": after, "plate": ""}),
    }


def asked_of(request: HttpRequest) -> dict[str, Any]:
    """Which aisle, after which shelf, which wheels; an aisle or shelf that is none is left out."""
    get = {name: str(value).replace("\x00", "").strip()[:40] for name, value in request.GET.items()}
    aisle = get.get("aisle", "")
    room = get.get("room", "") if aisle.isdecimal() and len(aisle) < 5 else ""
    column, _, shelf = get.get("after", "").partition("/")
    fits = column.isdecimal() and shelf.isdecimal() and len(column) < 6 and len(shelf) < 6
    after = (int(column), int(shelf)) if fits else (0, 0)
    return {
        "room": room,
        "aisle": int(aisle) if room else 0,
        "after": after,
        "at": f"{after[0]}/{after[1]}",
        "which": EVERY if get.get("which") == EVERY else DUE,
        "plate": get.get("plate", ""),
        "list": get.get("list") == "yes" and bool(room),
    }


def query_of(asked: dict[str, Any]) -> str:
    """The aisle and shelf as the query of an address."""
    names = {"room": asked["room"], "aisle": asked["aisle"], "after": asked["at"]}
    return urlencode({**names, "which": asked["which"]} if asked["room"] else {})


def plate_asked(request: HttpRequest, text: str) -> Wheel | None:
    """The standing wheel of a plate; says so and returns None when there is none."""
    try:
        found: Wheel = find_entry(Wheel, text)  # type: ignore[assignment]
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return None
    return found


def last_tap(request: HttpRequest, now: datetime) -> Inspection | None:
    """What this person tapped in the last half minute, to be taken back."""
    if not request.user.is_authenticated:
        return None
    found: Inspection | None = (
        Inspection.objects.standing()
        .filter(by=request.user, received_at__gt=now - UNDO)
        .select_related("wheel", "fault")
        .order_by("-received_at")
        .first()
    )
    return found


@require_POST
@action_required("write:inspections")
@once_only
def grade(request: HttpRequest) -> HttpResponse:
    """Write the grade of the wheel on the screen; then the next one is up."""
    asked = asked_of(request)
    form = TapForm(request.POST)
    if form.is_valid():
        values = form.values()
        if form.carry_out(record_inspection, stamp=stamp_of(request), **values) is not None:
            if asked["list"]:
                which = urlencode({"which": asked["which"]})
                address = reverse("milk:tap-aisle", args=[asked["room"], asked["aisle"]])
                return redirect(f"{address}?{which}")
            return redirect(f"{reverse('milk:tap')}?{query_of(asked)}")
    now = timezone.now()
    wheel = get_object_or_404(Wheel.objects.standing(), plate=request.POST.get("wheel", "")[:40])
    context = {"now": now, "asked": asked, "query": query_of(asked), "form": form, "may_tap": True}
    return render(
        request, "milk/tap.html", {**context, **screen(request, wheel, 0, asked, now)}, status=400
    )


@require_POST
@action_required("write:inspections")
@once_only
def undo(request: HttpRequest) -> HttpResponse:
    """Strike what was tapped a moment ago, and have its wheel up again."""
    found = Inspection.objects.filter(uuid=request.POST.get("inspection", "")[:36]).first()
    if found is None:
        raise Http404("inspection")
    check_may_strike(request.user, "inspections", found)
    if found.by_id != request.user.pk:
        raise ValidationError(_(NOT_YOURS))
    assert request.user.is_authenticated
    strike_inspection(found, by=request.user, reason="other", words=_("taken back at once"))
    messages.success(request, _(UNDONE).format(wheel=found.wheel))
    asked = {**asked_of(request)}
    query = f"{query_of(asked)}&" if asked["room"] else ""
    return redirect(f"{reverse('milk:tap')}?{query}{urlencode({'plate': found.wheel.plate})}")
