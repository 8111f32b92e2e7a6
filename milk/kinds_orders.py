"""The kinds of entry from an order until its wheels leave, or come back."""

from django.utils.translation import gettext_lazy as _l

from config.kinds import Kind
from milk.models import (
    Dispatch,
    Order,
    OrderLine,
    Pallet,
    Pick,
    Product,
    Shipment,
    WheelDiscard,
    WheelReturn,
)
from milk.services import dispatch, orders
from milk.services.wheel_places import strike_step

ORDERS = (
    Kind(
        slug="products",
        model=Product,
        title=_l("Products"),
        moment=_l("decided at"),
        help=_l(
            "What labels and papers call the cheese, its GTIN, and whose name it is sent under."
        ),
        fields=("name", "description", "gtin", "prefix", "holding", "valid_from", "source"),
        filters=("gtin",),
    ),
    Kind(
        slug="orders",
        model=Order,
        title=_l("Orders"),
        moment=_l("came at"),
        fields=("number", "buyer", "product", "wanted_on", "market", "remark"),
        filters=("number", "buyer"),
    ),
    Kind(
        slug="order-lines",
        model=OrderLine,
        title=_l("Lines of orders"),
        moment=_l("ordered at"),
        fields=("order", "months", "grade", "pieces", "kg"),
        record=orders.record_order_line,
        filters=("order",),
    ),
    Kind(
        slug="pallets",
        model=Pallet,
        title=_l("Pallets"),
        moment=_l("begun at"),
        help=_l("Leave the number blank for the next one of the estate."),
        fields=("order", "sscc"),
        record=orders.record_pallet,
        filters=("order", "sscc"),
    ),
    Kind(
        slug="picks",
        model=Pick,
        title=_l("Wheels picked"),
        moment=_l("taken at"),
        help=_l(
            "Its plate and its shelf are read, and it is weighed; only what may leave is picked."
        ),
        fields=("order", "wheel", "kg", "place", "pallet", "weighed_again", "twin_asked"),
        record=orders.pick_wheel,
        strike=orders.strike_pick,
        filters=("order", "wheel"),
    ),
    Kind(
        slug="shipments",
        model=Shipment,
        title=_l("Shipments"),
        moment=_l("left at"),
        help=_l("Takes along every wheel that is picked for the order and may leave."),
        fields=(
            "order",
            "paper",
            "carrier",
            "vehicle",
            "temperature",
            "owner_before",
            "owner_after",
        ),
        record=dispatch.send_order,
        strike=dispatch.strike_shipment,
        correct=dispatch.correct_shipment,
        filters=("order", "paper"),
    ),
    Kind(
        slug="dispatches",
        model=Dispatch,
        title=_l("Dispatches"),
        moment=_l("left at"),
        help=_l(
            "A single wheel without an order. One that is held, made of held milk, too young, not "
            "graded lately, or with the wrong marks does not leave."
        ),
        fields=("wheel", "buyer", "kg", "paper", "order", "carrier"),
        record=dispatch.record_dispatch,
        strike=strike_step,
        correct=dispatch.correct_dispatch,
        filters=("wheel", "buyer", "paper"),
    ),
    Kind(
        slug="wheel-returns",
        model=WheelReturn,
        title=_l("Wheels returned"),
        moment=_l("came back at"),
        help=_l(
            "It is held at once, until two people have decided; it goes to no shelf by itself."
        ),
        fields=("dispatch", "why", "words", "kg"),
        record=dispatch.record_return,
        strike=strike_step,
        filters=("dispatch", "why"),
        related=("dispatch__wheel", "dispatch__buyer"),
    ),
    Kind(
        slug="wheel-discards",
        model=WheelDiscard,
        title=_l("Wheels destroyed or used otherwise"),
        moment=_l("done at"),
        help=_l(
            "Its shelf is free again, and it is no food any more; an open hold is decided first."
        ),
        fields=("wheel", "how", "where_to", "kg", "paper", "witness", "words"),
        record=dispatch.record_discard,
        strike=strike_step,
        filters=("wheel", "how"),
    ),
)
