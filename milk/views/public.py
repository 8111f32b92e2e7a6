"""The page of a wheel that anybody may open: where it comes from, in plain words, no more.

The code on the label has its GTIN, lot and plate; only all three together open the page, so that
nobody finds wheels by counting plates. Whatever does not fit gets one and the same answer.
"""

from datetime import datetime

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe
from rest_framework.throttling import SimpleRateThrottle

from milk import gs1
from milk.age import full_months
from milk.figures import figures_on
from milk.held import open_holds
from milk.models import Dispatch, MilkFigure, Product, Wheel
from milk.trace import fed_before_rule
from milk.vat_code import vat_code
from milk.wheel_story import stories

# A shop's phone asks twice; what is said of a held wheel must not be old.
KEPT_FOR = "public, max-age=300"


class PublicThrottle(SimpleRateThrottle):
    """So many pages a minute for one address of the network, signed in or not."""

    scope = "public"

    def get_cache_key(self, request: object, view: object) -> str:
        return str(self.cache_format % {"scope": self.scope, "ident": self.get_ident(request)})  # type: ignore[arg-type]


@require_safe
def wheel(request: HttpRequest, gtin: str, lot: str, plate: str) -> HttpResponse:
    """The story of one wheel; 404 in the same words for everything that is not a wheel's code."""
    throttle = PublicThrottle()
    if not throttle.allow_request(request, None):  # type: ignore[arg-type]
        return slow_down(request, throttle.wait())
    now = timezone.now()
    product = product_of(gtin, now)
    found = wheel_of(lot, plate) if product else None
    if product is None or found is None:
        answer = render(request, "milk/public_unknown.html", status=404)
    else:
        answer = render(request, "milk/public_wheel.html", told(found, product, now))
    answer["Cache-Control"] = KEPT_FOR
    return answer


def slow_down(request: HttpRequest, wait: float | None) -> HttpResponse:
    """The answer to somebody who asks too often."""
    answer = render(request, "milk/public_slow.html", status=429)
    answer["Retry-After"] = str(int(wait or 60) + 1)
    answer["Cache-Control"] = "no-store"
    return answer


def product_of(gtin: str, at: datetime) -> Product | None:
    """The product of a number, as the latest row before a moment has it."""
    try:
        gs1.check_key(gtin, (8, 12, 13, 14))
    except ValueError:
        return None
    rows = Product.objects.standing().filter(
        gtin=gs1.padded(gtin), valid_from__lte=timezone.localdate(at)
    )
    found: Product | None = rows.select_related("holding").order_by("-valid_from", "-id").first()
    return found


def wheel_of(lot: str, plate: str) -> Wheel | None:
    """The wheel of a plate, if it is of that lot."""
    if "\x00" in plate or len(plate) > gs1.SERIAL_MOST:
        return None
    found: Wheel | None = Wheel.objects.standing().filter(plate=plate).select_related("vat").first()
    return found if found is not None and vat_code(found.vat) == lot else None


def told(found: Wheel, product: Product, now: datetime) -> dict[str, object]:
    """Everything the page says."""
    made = timezone.localdate(found.happened_at)
    story = stories([found.vat], fed_before_rule(now))[found.vat_id]
    return {
        "plate": found.plate,
        "name": product.name,
        "description": product.description,
        "maker": product.holding.name,
        "made": made,
        "vat": found.vat.number,
        "twin": found.twin,
        "months": full_months(made, timezone.localdate(now)),
        "days": (timezone.localdate(now) - made).days,
        "story": story,
        "ask": ask_the_dairy(found, now),
    }


def ask_the_dairy(found: Wheel, now: datetime) -> bool:
    """Whether the page sends its reader to the dairy.

    Only where the estate has set so, and only for a wheel that was sold: what is held in the store
    is nobody else's business, and no reason is ever given here.
    """
    row = figures_on(timezone.localdate(now)).get(MilkFigure.What.ASK_DAIRY)
    if row is None or not row.value:
        return False
    sold = Dispatch.objects.standing().filter(wheel=found).exists()
    return sold and bool(open_holds(wheel_ids=[found.pk]))
