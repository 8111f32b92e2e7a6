"""What is in doubt because of a course that was written late: read live, never kept.

Every milking of the animal inside the course's period that went to a tank, the lots that have it,
and what was made of them; what can still be stopped first. The second ring (vats started with whey
of those vats) is shown apart.
"""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.utils.translation import gettext_noop as N_

from config.language import without_noun
from herd.models import Course, WithdrawalPeriod
from herd.rules_in_force import MILK_PRICE, WHEEL_PRICE, rule_in_force
from milk import late
from milk.below import Below, below, still_catchable
from milk.held import cause_of_withheld
from milk.models import Hold, Milking
from milk.services.flags import rows_by_cause
from milk.time_left import Left, trays_left, vats_left
from milk.withheld_milk import Row, lots_with_withheld


@dataclass(frozen=True)
class Doubt:
    """A course's milk that went to tanks. ``tanks``: (name, kg) with some of it still in."""

    course: Course
    period: WithdrawalPeriod | None
    rows: list[Row]
    milkings: list[Milking]
    tree: Below
    tanks: list[tuple[str, Decimal]]
    trays: list[Left]
    vats: list[Left]
    holds: list[Hold]
    milk_price: Decimal | None
    wheel_price: Decimal | None

    @property
    def is_catchable(self) -> bool:
        """Whether anything can still be stopped."""
        return bool(self.tanks or self.trays or self.vats)

    @property
    def kg(self) -> Decimal:
        """kg of the lots' own milk."""
        return sum((lot.kg for lot in self.tree.lots), Decimal(0))

    @property
    def her_kg(self) -> Decimal | None:
        """kg of hers in it; None when a milking was not weighed cow by cow."""
        weights = [row.kg for row in self.rows]
        found = [weight for weight in weights if weight is not None]
        return sum(found, Decimal(0)) if len(found) == len(weights) else None

    @property
    def share(self) -> Decimal | None:
        """Her part of that milk in per cent. It guides the testing; it never releases a lot."""
        if self.her_kg is None or not self.kg:
            return None
        return (self.her_kg / self.kg * 100).quantize(Decimal("0.01"))

    @property
    def eur(self) -> Decimal | None:
        """What the wheels are worth, or the milk where none were made; None without a price."""
        if self.tree.wheels:
            price, many = self.wheel_price, Decimal(len(self.tree.wheels))
        else:
            price, many = self.milk_price, self.kg
        return None if price is None else (price * many).quantize(Decimal(1))


def open_holds(cause: str) -> list[Hold]:
    """The open holds of a cause; milk that turned up after a decision has one of its own."""
    return list(Hold.objects.open().filter(cause_key__startswith=cause).order_by("pk"))


def doubt_about(course: Course, at: datetime) -> Doubt:
    """What is in doubt because of a course, as known at ``at``."""
    periods = WithdrawalPeriod.objects.filter(course=course).order_by("pk")
    since = late.first_withheld([course.animal_id]) or at
    sources = {period.source for period in periods}
    # Milk of hers in a waste tank is where it belongs, unless that tank gave it on.
    by_cause = rows_by_cause(lots_with_withheld(since, at, [course.animal_id]))
    of_it = [by_cause[source] for source in sources if source in by_cause]
    lots = sorted({lot for by_lot in of_it for lot in by_lot})
    rows = sorted(
        {row for by_lot in of_it for of_lot in by_lot.values() for row in of_lot},
        key=lambda row: (row.at, row.lot),
    )
    catchable = still_catchable(lots, at)
    causes = [cause_of_withheld(source) for source in sources]
    holds = [hold for cause in causes for hold in open_holds(cause)]
    return Doubt(
        course=course,
        period=periods.first(),
        rows=rows,
        milkings=list(
            Milking.objects.filter(pk__in={row.milking for row in rows})
            .select_related("group", "tank")
            .order_by("happened_at")
        ),
        tree=below(lots),
        tanks=catchable.tanks,
        trays=trays_left([without_noun(name, N_("tray")) for name, _kg in catchable.trays], at),
        vats=vats_left(catchable.vats, at),
        holds=holds,
        milk_price=rule_in_force(MILK_PRICE, at),
        wheel_price=rule_in_force(WHEEL_PRICE, at),
    )
