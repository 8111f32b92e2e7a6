"""Orders: what is still to fetch, wheel after wheel from its shelf, until the lorry leaves."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.http import require_POST

from config.days import local
from config.once import once_only
from config.papers.handing import hand_over
from config.roles import action_required, may
from config.views.entries import stamp_of
from milk.complaint_paper import complaint_paper
from milk.dispatch_papers import pallet_paper, shipment_paper
from milk.fetch_list import fetch_list
from milk.forms.orders import PickForm, SendForm
from milk.held import open_holds
from milk.models import Dispatch, Order, Pallet, Pick, Shipment, Wheel
from milk.ordered import Ordered, missing_words, ordered
from milk.services.dispatch import send_order
from milk.services.orders import pick_wheel, record_pallet

ORDERS_SHOWN = 40
PICKED = N_("Picked: {wheel} for {order}. {left}.")
SENT = N_("{wheels} wheels have left with paper {paper}.")
BEGUN = N_("Begun: {pallet}.")
HELD_SINCE = N_("held since {since}: {words}")


@action_required("read")
def orders(request: HttpRequest) -> HttpResponse:
    """The latest orders, each with what is picked and what has left."""
    now = timezone.now()
    rows = list(
        Order.objects.standing()
        .select_related("buyer", "product")
        .order_by("-happened_at", "-id")[:ORDERS_SHOWN]
    )
    context = {
        "now": now,
        "rows": [row_of(ordered(order, now)) for order in rows],
        "may_order": may(request.user, "write:orders"),
        "most": ORDERS_SHOWN,
    }
    return render(request, "milk/orders.html", context)


def row_of(found: Ordered) -> dict[str, Any]:
    """An order in one word: which word, and how it stands."""
    if found.is_full and not found.waiting:
        state, word = "dispatched", "sent"
    elif found.is_full:
        state, word = "open", "picked"
    else:
        state, word = "first", _("to fetch")
    return {"found": found, "state": state, "word": word, "left": missing_words(found.fillings)}


@action_required("read")
def order(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One order: its lines, the wheels to fetch in walking order, what is picked; a POST picks."""
    found = get_object_or_404(Order.objects.select_related("buyer", "product"), uuid=uuid)
    return order_page(request, found, PickForm(order=found, initial=request.GET.dict()))


def order_page(
    request: HttpRequest, found: Order, form: PickForm, status: int = 200
) -> HttpResponse:
    """The page of an order with the form that picks."""
    now = timezone.now()
    stands = ordered(found, now)
    context = {
        "now": now,
        "order": found,
        "row": row_of(stands),
        "stands": stands,
        "waiting": waiting_rows(stands),
        "fetch": [] if found.is_struck else fetch_list(stands, now),
        "pallets": Pallet.objects.standing().filter(order=found).order_by("pk"),
        "shipments": Shipment.objects.filter(order=found).order_by("-happened_at"),
        "form": form,
        "may_pick": may(request.user, "write:picks") and not found.is_struck,
        "may_send": may(request.user, "write:shipments") and not found.is_struck,
        "may_order": may(request.user, "write:order-lines") and not found.is_struck,
    }
    return render(request, "milk/order.html", context, status=status)


def waiting_rows(stands: Ordered) -> list[tuple[Pick, str]]:
    """What is picked and not sent, each with what keeps it here since; "" for nothing."""
    held = open_holds(wheel_ids=[pick.wheel_id for pick in stands.waiting])
    rows = []
    for pick in stands.waiting:
        against = [one for one in held.get(("wheel", pick.wheel_id), []) if not one.as_downgraded]
        since = local(against[0].hold.happened_at) if against else ""
        said = _(HELD_SINCE).format(since=since, words=against[0].hold.words) if against else ""
        rows.append((pick, said))
    return rows


@require_POST
@action_required("write:picks")
@once_only
def pick(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Take a wheel from its shelf for an order; every reason against it is said at once."""
    found: Order = get_object_or_404(Order.objects.standing(), uuid=uuid)
    form = PickForm(request.POST, order=found)
    if form.is_valid():
        stamp = stamp_of(request)
        made = form.carry_out(pick_wheel, stamp=stamp, order=found, **form.cleaned_data)
        if made is not None:
            left = missing_words(ordered(found, timezone.now()).fillings)
            said = _(PICKED).format(wheel=made.wheel, order=found, left=capfirst(left))
            messages.success(request, said)
            return redirect(found)
    return order_page(request, found, form, status=400)


@require_POST
@action_required("write:pallets")
@once_only
def new_pallet(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Begin a pallet with the next number of the estate."""
    found: Order = get_object_or_404(Order.objects.standing(), uuid=uuid)
    form = PickForm(order=found)
    form.is_bound, form.cleaned_data = True, {}
    made = form.carry_out(record_pallet, stamp=stamp_of(request), order=found)
    if made is None:
        return order_page(request, found, form, status=400)
    messages.success(request, _(BEGUN).format(pallet=made))
    return redirect(found)


@action_required("write:shipments")
@once_only
def send(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Send what is picked: the paper, the carrier, and whose it is."""
    found = get_object_or_404(
        Order.objects.standing().select_related("buyer", "product"), uuid=uuid
    )
    now = timezone.now()
    form = SendForm(request.POST or None, initial={"happened_at": now})
    if form.is_valid():
        stamp = stamp_of(request, form)
        made = form.carry_out(send_order, stamp=stamp, order=found, **form.values())
        if made is not None:
            wheels = Dispatch.objects.standing().filter(shipment=made).count()
            messages.success(request, _(SENT).format(wheels=wheels, paper=made.paper))
            return redirect(made)
    context = {"order": found, "form": form, "now": now, "stands": ordered(found, now)}
    return render(request, "milk/order_send.html", context)


@action_required("read")
def shipment(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The paper of a shipment, as a page, a table file or a PDF."""
    found = get_object_or_404(
        Shipment.objects.select_related(
            "order__buyer", "order__product__holding", "owner_before", "owner_after", "struck_by"
        ),
        uuid=uuid,
    )
    paper = shipment_paper(found, by=request.user, at=timezone.now())
    context = {"entry": found, "order": found.order, "slug": "shipments"}
    return hand_over(request, paper, "milk/dispatch_paper.html", context)


@action_required("read")
def pallet(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The sheet of a pallet, as a page, a table file or a PDF."""
    found = get_object_or_404(
        Pallet.objects.select_related("order__buyer", "order__product", "struck_by"), uuid=uuid
    )
    paper = pallet_paper(found, by=request.user, at=timezone.now())
    context = {"entry": found, "order": found.order, "slug": "pallets"}
    return hand_over(request, paper, "milk/dispatch_paper.html", context)


@action_required("read")
def complaint(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The answer to a complaint about a wheel, as a page, a table file or a PDF."""
    found = get_object_or_404(Wheel.objects.standing().select_related("vat"), uuid=uuid)
    paper = complaint_paper(found, by=request.user, at=timezone.now())
    return hand_over(request, paper, "milk/complaint.html", {"wheel": found})
