"""The kinds of entry from an order until its wheels leave, or come back."""

from config.kinds import Kind
from milk.models import (
    Dispatch,
    Order,
    OrderLine,
    Pallet,
    Pick,
    Product,
    Shipment,
    WheelReturn,
)
from milk.services import dispatch, orders
from milk.services.wheel_places import strike_step

ORDERS = (
    Kind(
        slug="products",
        model=Product,
        title="Products",
        moment="decided at",
        help="What labels and papers call the cheese, its GTIN, and whose name it is sent under.",
        fields=("name", "description", "gtin", "prefix", "holding", "valid_from", "source"),
        filters=("gtin",),
    ),
    Kind(
        slug="orders",
        model=Order,
        title="Orders",
        moment="came at",
        fields=("number", "buyer", "product", "wanted_on", "market", "remark"),
        filters=("number", "buyer"),
    ),
    Kind(
        slug="order-lines",
        model=OrderLine,
        title="Lines of orders",
        moment="ordered at",
        fields=("order", "months", "grade", "pieces", "kg"),
        record=orders.record_order_line,
        filters=("order",),
    ),
    Kind(
        slug="pallets",
        model=Pallet,
        title="Pallets",
        moment="begun at",
        help="Leave the number blank for the next one of the estate.",
        fields=("order", "sscc"),
        record=orders.record_pallet,
        filters=("order", "sscc"),
    ),
    Kind(
        slug="picks",
        model=Pick,
        title="Wheels picked",
        moment="taken at",
        help="Its plate and its shelf are read, and it is weighed; only what may leave is picked.",
        fields=("order", "wheel", "kg", "place", "pallet", "weighed_again", "twin_asked"),
        record=orders.pick_wheel,
        strike=orders.strike_pick,
        filters=("order", "wheel"),
    ),
    Kind(
        slug="shipments",
        model=Shipment,
        title="Shipments",
        moment="left at",
        help="Takes along every wheel that is picked for the order and may leave.",
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
        title="Dispatches",
        moment="left at",
        help=(
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
        title="Wheels returned",
        moment="came back at",
        help="It is held at once, until two people have decided; it goes to no shelf by itself.",
        fields=("dispatch", "why", "words", "kg"),
        record=dispatch.record_return,
        strike=strike_step,
        filters=("dispatch", "why"),
        related=("dispatch__wheel", "dispatch__buyer"),
    ),
)
