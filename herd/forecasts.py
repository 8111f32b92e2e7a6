"""Before the needle: what a course would cost this animal, read from her book; nothing is written.

The same rules refuse an order here as when it is written.
"""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from psycopg.types.range import TimestamptzRange

from config.days import estate_zone
from herd.costs import Better, Cost, better_time, cost_of
from herd.models import Animal, Calving, Medicine, WithdrawalPeriod
from herd.planned import Span
from herd.rules_in_force import MILK_PRICE
from herd.services.orders import check_course
from herd.services.withdrawals import dated_rules, leaflets_of, stands_of
from herd.withdrawal import Estate, Meat, Ordered, hours_after
from herd.yields import Yield, yield_of


@dataclass(frozen=True)
class Forecast:
    """What a course would cost. ``kg`` and ``eur`` None: nobody has measured her, or no price."""

    animal: Animal
    medicine: Medicine
    starts: datetime
    cost: Cost
    better: Better | None
    measured: Yield | None
    price: Decimal | None

    @property
    def kg(self) -> Decimal | None:
        """kg of milk that are kept out because of this course."""
        if self.cost.milkings is None or self.measured is None:
            return None
        return (self.cost.milkings * self.measured.kg).quantize(Decimal("0.1"))

    @property
    def eur(self) -> Decimal | None:
        """What that milk is worth."""
        if self.kg is None or self.price is None:
            return None
        return (self.kg * self.price).quantize(Decimal("0.01"))

    @property
    def meat(self) -> Meat:
        """Until when she may not go to slaughter because of this course."""
        return self.cost.period.meat if self.cost.period else Meat()

    @property
    def minutes_moved(self) -> int:
        """By how much the better time is earlier or later."""
        return abs(self.better.minutes) if self.better else 0

    @property
    def better_at(self) -> datetime | None:
        """The better time; None when there is none."""
        return hours_after(self.starts, self.better.minutes / 60) if self.better else None

    @property
    def is_zero(self) -> bool:
        """Whether nothing is kept out: a period of zero hours."""
        return self.cost.period is not None and self.cost.period.zero


def forecast(
    *, animal: Animal, at: datetime, medicine: Medicine, doses: int, **order: Any
) -> Forecast:
    """What ordering this would cost from ``at`` on. Raises ValidationError as the order would."""
    check_course(at, animal=animal, medicine=medicine, doses=doses, **order)
    rules = dated_rules()
    stands = stands_of([animal.pk]).get(animal.pk, ())
    estate = Estate(estate_zone(), rules, stands)
    course = Ordered(
        starts=at,
        doses=doses,
        interval_hours=order.get("interval_hours", 24),
        product=medicine.name,
        leaflets=leaflets_of([medicine.pk]).get(medicine.pk, ()),
        off_leaflet=order.get("off_leaflet", False),
        own_milk_hours=order.get("own_milk_hours"),
        own_meat_days=order.get("own_meat_days"),
    )
    others, calvings = spans_of(animal, at), calvings_of(animal)
    return Forecast(
        animal=animal,
        medicine=medicine,
        starts=at,
        cost=cost_of(course, estate, others, calvings),
        better=better_time(course, estate, others, calvings),
        measured=yield_of(animal, at),
        price=estate.rule(MILK_PRICE, at),
    )


def spans_of(animal: Animal, at: datetime) -> list[Span]:
    """When else her milk is kept out, from a moment on."""
    later = WithdrawalPeriod.objects.filter(
        animal=animal, during__overlap=TimestamptzRange(at, None)
    )
    return [(during.lower, during.upper) for during in later.values_list("during", flat=True)]


def calvings_of(animal: Animal) -> list[datetime]:
    """When she calved, in order."""
    calvings = Calving.objects.standing().filter(dam=animal).order_by("happened_at")
    return list(calvings.values_list("happened_at", flat=True))
