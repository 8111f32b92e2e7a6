"""Orders as they stand: their lines, what is picked and sent, which line a wheel is for. Reads."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from config.days import local_day
from milk.age import full_months
from milk.grades import RANK, last_grades
from milk.models import Dispatch, Inspection, Order, OrderLine, Pick, Wheel
from milk.order_lines import Asked, Filling, Have, filled, line_for

# A wheel that was weighed last when it was made is taken for this, only to count what is missing.
USUAL_KG = Decimal(40)


@dataclass(frozen=True)
class Ordered:
    """An order with its lines, how far each is filled, and its picks by whether they have left."""

    order: Order
    lines: list[OrderLine]
    fillings: list[Filling]
    waiting: list[Pick]
    sent: list[Pick]

    @property
    def rows(self) -> list[tuple[OrderLine, Filling]]:
        return list(zip(self.lines, self.fillings, strict=True))

    @property
    def is_full(self) -> bool:
        """Whether every line has its wheels."""
        return bool(self.lines) and all(one.is_full for one in self.fillings)

    @property
    def missing(self) -> int:
        """How many more wheels it takes, about, where kg are asked."""
        return sum(one.wheels_missing(USUAL_KG) for one in self.fillings)

    def lines_for(
        self, wheels: Collection[Wheel], grades: dict[int, Inspection], on: date
    ) -> dict[int, OrderLine | None]:
        """By wheel (key), the line a further wheel would be for; None when the order is full."""
        found = {}
        for wheel in wheels:
            place = line_for(self.fillings, have(wheel, grades.get(wheel.pk), on))
            found[wheel.pk] = None if place is None else self.lines[place]
        return found


def have(wheel: Wheel, grade: Inspection | None, on: date, kg: Decimal | None = None) -> Have:
    """A wheel as the lines of an order count it."""
    return Have(
        months=full_months(local_day(wheel.happened_at), on),
        rank=RANK[grade.grade] if grade else None,
        kg=kg or wheel.kg or USUAL_KG,
    )


def ordered(order: Order, at: datetime) -> Ordered:
    """An order as it stands at a moment; five statements."""
    lines = list(OrderLine.objects.standing().filter(order=order).order_by("id"))
    picks = list(
        Pick.objects.standing()
        .filter(order=order)
        .select_related("wheel__vat", "place", "pallet", "by")
        .order_by("happened_at", "id")
    )
    gone = sent_of(order)
    grades = last_grades([pick.wheel_id for pick in picks], at)
    asked = [asked_of(line) for line in lines]
    wheels = [
        (
            pick.wheel_id,
            have(pick.wheel, grades.get(pick.wheel_id), local_day(pick.happened_at), pick.kg),
        )
        for pick in picks
    ]
    return Ordered(
        order,
        lines,
        filled(asked, wheels),
        [pick for pick in picks if pick.wheel_id not in gone],
        [pick for pick in picks if pick.wheel_id in gone],
    )


def asked_of(line: OrderLine) -> Asked:
    return Asked(line.months, RANK[line.grade], line.pieces, line.kg)


def sent_of(order: Order) -> set[int]:
    """The wheels (keys) that left for an order."""
    rows = Dispatch.objects.standing().filter(shipment__order=order, shipment__struck_at=None)
    return set(rows.values_list("wheel_id", flat=True))


def picked_elsewhere(wheel: Wheel, order: Order) -> Pick | None:
    """The pick of a wheel for another order that it has not left for yet."""
    others = Pick.objects.standing().filter(wheel=wheel).exclude(order=order)
    rows: list[Pick] = list(others.select_related("order").order_by("-happened_at"))
    return next((pick for pick in rows if wheel.pk not in sent_of(pick.order)), None)


def missing_words(found: Sequence[Filling]) -> str:
    """How many wheels are still missing, in words."""
    number = sum(one.wheels_missing(USUAL_KG) for one in found)
    if not number:
        return _("complete")
    return ngettext("{number} wheel to fetch", "{number} wheels to fetch", number).format(
        number=number
    )
