"""The wheels made lately, and one wheel: held or not, where it lies, what it came from."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from config.roles import action_required, may
from milk.held import open_holds
from milk.in_vats import WITHHELD, contents_of
from milk.models import BrineStay, Dispatch, Inspection, StoreStay, Wheel
from milk.places import SENT, where_is

WHEELS_SHOWN = 60


@action_required("read")
def wheels(request: HttpRequest) -> HttpResponse:
    """The latest wheels, or those whose plate begins with ``?plate=``: where they are, if held."""
    plate = request.GET.get("plate", "").replace("\x00", "").strip()[:16]
    found = Wheel.objects.standing().select_related("vat").order_by("-happened_at", "-id")
    if plate:
        found = found.filter(plate__startswith=plate)
    rows = list(found[:WHEELS_SHOWN])
    numbers = [wheel.pk for wheel in rows]
    held, places = open_holds(wheel_ids=numbers), where_is(numbers)
    context = {
        "now": timezone.now(),
        "plate": plate,
        "most": WHEELS_SHOWN,
        "rows": [
            {"wheel": wheel, "place": places[wheel.pk], "held": ("wheel", wheel.pk) in held}
            for wheel in rows
        ],
    }
    return render(request, "milk/wheels.html", context)


@action_required("read")
def wheel(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One wheel: the answer, where it is, its vat and twin, and its life so far."""
    now = timezone.now()
    found = get_object_or_404(
        Wheel.objects.select_related("vat", "by", "struck_by", "replaces"), uuid=uuid
    )
    held = open_holds(wheel_ids=[found.pk]).get(("wheel", found.pk), [])
    place = where_is([found.pk])[found.pk]
    (content,) = contents_of([found.vat], now)
    twin = Wheel.objects.standing().filter(vat=found.vat).exclude(pk=found.pk).first()
    here = not found.is_struck and place.kind != SENT
    context = {
        "now": now,
        "wheel": found,
        "held": held,
        "word": word_of(found, bool(held), content.word),
        "form": "struck" if found.is_struck else "held" if held else content.form,
        "place": place,
        "content": content,
        "twin": twin if not found.is_struck else None,
        "life": life_of(found),
        "may_inspect": may(request.user, "write:inspections") and here,
        "may_lay": may(request.user, "write:store-stays") and not found.is_struck,
        "may_send": may(request.user, "write:dispatches") and here and not held,
        "may_strike": may(request.user, "strike:wheels") and not found.is_struck,
        "may_hold": may(request.user, "write:holds") and not found.is_struck,
    }
    return render(request, "milk/wheel.html", context)


def word_of(wheel: Wheel, held: bool, of_vat: str) -> str:
    """The one word about a wheel."""
    if wheel.is_struck:
        return "struck"
    if held:
        return "held"
    return WITHHELD if of_vat == WITHHELD else "not held"


def life_of(wheel: Wheel) -> list[dict[str, Any]]:
    """Everything written about a wheel, the latest first, struck entries too."""
    slugs: list[tuple[str, Any]] = [
        ("brine-stays", BrineStay.objects.filter(wheel=wheel)),
        ("store-stays", StoreStay.objects.filter(wheel=wheel).select_related("place")),
        ("inspections", Inspection.objects.filter(wheel=wheel)),
        ("dispatches", Dispatch.objects.filter(wheel=wheel).select_related("buyer")),
    ]
    rows = [
        {"slug": slug, "entry": entry, "words": said(entry)}
        for slug, entries in slugs
        for entry in entries.select_related("by")
    ]
    return sorted(rows, key=lambda row: row["entry"].happened_at, reverse=True)


def said(entry: Any) -> str:
    """What an entry of a wheel's life says, without naming the wheel again."""
    match entry:
        case BrineStay():
            return f"into brine, bath {entry.bath}" + (f", row {entry.row}" if entry.row else "")
        case StoreStay():
            return f"laid in store: {entry.place}"
        case Dispatch():
            return f"sent to {entry.buyer}, paper {entry.paper}"
        case _:
            findings = f": {entry.findings}" if entry.findings else ""
            return f"{entry.get_way_display()}, graded {entry.get_grade_display()}{findings}"
