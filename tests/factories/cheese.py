"""Ripe wheels, their grades, orders and products for tests; every field can be overridden."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import count
from typing import Any

from herd.models import Holding
from milk import gs1
from milk.models import (
    Fault,
    Inspection,
    MilkFigure,
    Order,
    OrderLine,
    Product,
    Vat,
    Wheel,
)
from milk.reference import FIGURES, load_cheese, rows
from tests.factories.herd import make_user
from tests.factories.milk import (
    EVENING,
    kg,
    make_store_place,
    make_vat,
    make_wheel,
    plain,
    put_in_store,
    stamp_at,
)

# More than twelve months before EVENING, and at the hour of a make.
MADE = EVENING - timedelta(days=400, hours=10)
# Graded and tapped some weeks before EVENING.
GRADED = EVENING - timedelta(days=30)
# A GTIN of the GS1 General Specifications' own examples; not given to anybody's goods.
GTIN = "09521234543213"
PREFIX = "9521234"
number = count(1)
What = MilkFigure.What
# The figures that grading and dispatch ask for.
OURS = {
    str(one)
    for one in (
        What.GRADE_AGE,
        What.WEIGH_AGAIN,
        What.RIPE_FROM,
        What.FLAG_CHANCE,
        What.FLAG_TIMES,
        What.FLAG_WHEELS,
        What.FLAG_CHANCE_2,
    )
}


def make_rules() -> None:
    """The rules of ages and grades, the faults, and the figures every estate starts with."""
    stamp = stamp_at(EVENING - timedelta(days=500))
    load_cheese(stamp)
    known = set(MilkFigure.objects.standing().values_list("what", flat=True))
    for row in rows(FIGURES):
        if row["what"] in OURS - known:
            plain(MilkFigure, stamp.happened_at, stamp.by, **row)


def make_old_vat(*, at: datetime = MADE, **fields: Any) -> Vat:
    """A vat of more than a year before EVENING."""
    return make_vat(at=at, **fields)


def make_ripe(*, grade: str = "first", stored: bool = True, **fields: Any) -> Wheel:
    """A wheel of more than a year, on a shelf, graded a month before EVENING."""
    fields.setdefault("vat", None)
    fields["vat"] = fields["vat"] or make_old_vat()
    wheel = make_wheel(**fields)
    if stored:
        put_in_store(wheel, place=make_store_place(column=next(number) % 30_000))
    if grade:
        inspect(wheel, grade)
    return wheel


def inspect(wheel: Wheel, grade: str = "first", *, at: datetime = GRADED, **fields: Any) -> Any:
    """An inspection written as it is."""
    fields.setdefault("way", "tap")
    return plain(Inspection, at, fields.pop("by", None), wheel=wheel, grade=grade, **fields)


def make_known_buyer(**fields: Any) -> Holding:
    """A buyer with address and phone."""
    fields.setdefault("name", f"Shop {next(number)}")
    fields.setdefault("address", "3 Invented Lane")
    fields.setdefault("phone", "+00 1")
    made: Holding = plain(Holding, EVENING - timedelta(days=400), None, **fields)
    return made


def make_product(**fields: Any) -> Product:
    fields.setdefault("name", "Long-aged")
    fields.setdefault("description", "hard cheese of raw cow's milk, whole wheels")
    fields.setdefault("gtin", GTIN)
    fields.setdefault("prefix", PREFIX)
    fields.setdefault("valid_from", date(2020, 1, 1) + timedelta(days=next(number) % 1_800))
    fields.setdefault("source", "invented")
    if "holding" not in fields:
        fields["holding"] = make_known_buyer(name=f"Estate {next(number)}")
    made: Product = plain(Product, EVENING - timedelta(days=400), None, **fields)
    return made


def make_order(**fields: Any) -> Order:
    """An order without lines."""
    fields.setdefault("number", f"A{next(number)}")
    if "buyer" not in fields:
        fields["buyer"] = make_known_buyer()
    if "product" not in fields:
        fields["product"] = make_product()
    made: Order = plain(Order, EVENING - timedelta(days=5), fields.pop("by", None), **fields)
    return made


def make_order_line(**fields: Any) -> OrderLine:
    """Two wheels, first, twelve months."""
    if "order" not in fields:
        fields["order"] = make_order()
    fields.setdefault("months", 12)
    fields.setdefault("grade", "first")
    if "kg" not in fields:
        fields.setdefault("pieces", 2)
    made: OrderLine = plain(
        OrderLine, EVENING - timedelta(days=5), fields.pop("by", None), **fields
    )
    return made


def make_fault(**fields: Any) -> Fault:
    fields.setdefault("name", f"fault {next(number)}")
    fields.setdefault("means", "invented")
    fields.setdefault("where", "body")
    fields.setdefault("usual_grade", "second")
    fields.setdefault("valid_from", date(2020, 1, 1))
    fields.setdefault("source", "invented")
    made: Fault = plain(Fault, EVENING - timedelta(days=400), None, **fields)
    return made


def make_sscc() -> str:
    """A pallet's number of our own prefix, another one each time."""
    return gs1.sscc(PREFIX, 500_000 + next(number))


def shelf_of(wheel: Wheel) -> Any:
    """The shelf a wheel lies on."""
    return wheel.store_stays.latest("happened_at").place


def weight(text: str = "40.2") -> Decimal:
    found = kg(text)
    assert found is not None
    return found


def somebody(role: str = "store hand") -> Any:
    return make_user(role)
