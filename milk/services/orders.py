"""Orders, the wheels picked for them, and the pallets they stand on."""

from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local_day
from config.entries import Stamp
from config.errors import Conflict
from config.roles import CHEESEMAKER, roles_of
from milk import gs1
from milk.grades import last_grades
from milk.models import Order, OrderLine, Pallet, Pick, StorePlace, Wheel
from milk.ordered import ordered, picked_elsewhere, sent_of
from milk.services.flowing import check_stands, check_weight
from milk.services.store import check_wheel
from milk.ship_facts import Given, decisions
from milk.shipping import Word

FULL = N_(
    "{order} is full: all its lines have their wheels. Write another line first, or put it back."
)
NO_LINES = N_("{order} has no line yet. Write how many wheels, how old and of which grade, first.")
NOT_FOR = N_("{wheel} does not go for {order}: {reasons}. Nothing was saved.")
PICKED = N_("{wheel} is picked for {other} already. Put it back there first.")
LEFT = N_("{wheel} left for {order} already.")
ONLY_C = N_("Whether a wheel goes whose twin is held is for the cheesemaker to say.")
OTHER_PALLET = N_("{pallet} was built for {order}. Choose a pallet of this order.")
NO_PREFIX = N_(
    "{product} has no company prefix, so no number can be made for a pallet. Write the number the "
    "pallet has, or the prefix at the product."
)


@transaction.atomic
def record_order_line(*, stamp: Stamp, order: Order, **fields: Any) -> OrderLine:
    """Write down one line of an order. Raises ValidationError by field."""
    check_stands(order, "order")
    line: OrderLine = entries.record(OrderLine, stamp=stamp, order=order, **fields)
    return line


@transaction.atomic
def record_pallet(*, stamp: Stamp, order: Order, sscc: str = "") -> Pallet:
    """Begin a pallet for an order; blank: the next number of the estate's company prefix.

    Raises ValidationError by field for a number with a wrong check digit.
    """
    check_stands(order, "order")
    number = sscc.strip() or next_number(order)
    try:
        gs1.check_key(number, (gs1.SSCC_DIGITS,))
    except ValueError as error:
        raise ValidationError({"sscc": str(error)}) from error
    pallet: Pallet = entries.record(Pallet, stamp=stamp, order=order, sscc=number)
    return pallet


def next_number(order: Order) -> str:
    """The number after the highest one given under the prefix; one person at a time."""
    prefix = order.product.prefix
    if not prefix:
        raise ValidationError({"sscc": _(NO_PREFIX).format(product=order.product)})
    # The product's row is what two people who build pallets at once wait for.
    type(order.product).objects.select_for_update().get(pk=order.product_id)
    # Numbers of one prefix have one length, so the highest text is the highest number.
    last = (
        Pallet.objects.filter(sscc__startswith=f"0{prefix}")
        .order_by("-sscc")
        .values_list("sscc", flat=True)
        .first()
    )
    serial = int(last[len(prefix) + 1 : -1]) + 1 if last else 1
    try:
        return gs1.sscc(prefix, serial)
    except ValueError as error:
        raise ValidationError({"sscc": str(error)}) from error


@transaction.atomic
def pick_wheel(
    *,
    stamp: Stamp,
    order: Order,
    wheel: Wheel,
    kg: Decimal,
    place: StorePlace | None = None,
    pallet: Pallet | None = None,
    weighed_again: bool = False,
    twin_asked: bool = False,
) -> Pick:
    """Take a wheel from its shelf for an order, if it may leave; ``place``: the shelf read.

    Raises Conflict with every reason at once, ValidationError by field.
    """
    check_stands(order, "order")
    check_weight(kg)
    check_wheel(stamp, wheel)
    check_pallet(pallet, order)
    if twin_asked and CHEESEMAKER not in roles_of(stamp.by):  # type: ignore[arg-type]
        raise ValidationError({"twin_asked": _(ONLY_C)})
    # Two who pick the same wheel at once come one by one.
    wheel = Wheel.objects.select_for_update(of=("self",)).get(pk=wheel.pk)
    check_free(wheel, order)
    given = Given(kg=kg, place=place, weighed_again=weighed_again, twin_asked=twin_asked)
    check_goes(stamp, order, wheel, given)
    made: Pick = entries.record(
        Pick,
        stamp=stamp,
        order=order,
        wheel=wheel,
        kg=kg,
        place=place,
        pallet=pallet,
        weighed_again=weighed_again,
        twin_asked=twin_asked,
    )
    return made


def check_pallet(pallet: Pallet | None, order: Order) -> None:
    """Refuse a pallet that was struck, or built for another order."""
    check_stands(pallet, "pallet")
    if pallet is not None and pallet.order_id != order.pk:
        words = _(OTHER_PALLET).format(pallet=capfirst(str(pallet)), order=pallet.order)
        raise ValidationError({"pallet": words})


def check_free(wheel: Wheel, order: Order) -> None:
    """Refuse a wheel that somebody picked for another order. Raises Conflict."""
    other = picked_elsewhere(wheel, order)
    if other is not None:
        raise Conflict(_(PICKED).format(wheel=capfirst(str(wheel)), other=other.order))


def check_goes(stamp: Stamp, order: Order, wheel: Wheel, given: Given) -> None:
    """Refuse a wheel that may not leave for the order, with all its reasons. Raises Conflict."""
    stands = ordered(order, stamp.happened_at)
    if not stands.lines:
        raise Conflict(_(NO_LINES).format(order=capfirst(str(order))))
    if stands.is_full:
        raise Conflict(_(FULL).format(order=capfirst(str(order))))
    grades = last_grades([wheel.pk], stamp.happened_at)
    lines = stands.lines_for([wheel], grades, local_day(stamp.happened_at))
    answer = decisions([wheel], order, stamp.happened_at, lines=lines, given={wheel.pk: given})[
        wheel.pk
    ]
    if answer.word != Word.SHIP:
        reasons = "; ".join(answer.all_said)
        words = _(NOT_FOR).format(wheel=capfirst(str(wheel)), order=order, reasons=reasons)
        raise Conflict(words)


@transaction.atomic
def strike_pick(pick: Pick, *, by: User, reason: str, words: str = "", **options: Any) -> Pick:
    """Put a wheel back. Raises Conflict when it has left."""
    if pick.wheel_id in sent_of(pick.order):
        raise Conflict(_(LEFT).format(wheel=capfirst(str(pick.wheel)), order=pick.order))
    return entries.strike(pick, by=by, reason=reason, words=words, **options)
