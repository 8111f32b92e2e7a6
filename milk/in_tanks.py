"""What each tank holds now, by the book: its lot, what is left of it, since when."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db.models import F, OuterRef, Subquery

from config.once_a_page import once_a_page
from milk.answers import Answer, answers_about
from milk.models import MilkLot, Tank
from milk.services.lots import left_in


@dataclass(frozen=True, kw_only=True)
class Content:
    """A tank and the lot in it; ``lot`` None: washed or emptied, or never filled."""

    tank: Tank
    lot: MilkLot | None = None
    answer: Answer | None = None
    ended_at: datetime | None = None

    @property
    def left(self) -> Decimal:
        """kg the book says are left; below 0 when more was drawn than came in."""
        return left_in(self.lot) if self.lot is not None else Decimal(0)

    @property
    def full(self) -> int:
        """How full the tank is, in per cent of what it holds."""
        share: Decimal = self.left / self.tank.capacity_kg * 100
        return max(0, min(100, round(share)))


def in_tanks(at: datetime) -> list[Content]:
    """What every standing tank holds at ``at``, receiving tanks first. Few statements for all."""
    tanks = last_lots(at)
    return contents(tanks, answers_about(there_in(tanks, at), at))


@once_a_page
def last_lots(at: datetime) -> list[tuple[Tank, MilkLot | None]]:
    """Every standing tank with the lot that was in it last by ``at``; None: never filled."""
    # One look per tank at the end of an index; DISTINCT ON would read every lot ever.
    last = (
        MilkLot.objects.valid()
        .filter(tank=OuterRef("pk"), opened_at__lte=at)
        .order_by("-opened_at", F("ended_at").desc(nulls_first=True), "-id")
    )
    tanks = list(
        Tank.objects.standing()
        .annotate(last_lot=Subquery(last.values("pk")[:1]))
        .order_by("use", "name")
    )
    tanks.sort(key=lambda tank: (list(Tank.Use).index(Tank.Use(tank.use)), tank.name))
    found = MilkLot.objects.select_related("tank", "delivery__holding").in_bulk(
        [tank.last_lot for tank in tanks if tank.last_lot]
    )
    return [(tank, found.get(tank.last_lot)) for tank in tanks]


def there_in(tanks: Iterable[tuple[Tank, MilkLot | None]], at: datetime) -> list[MilkLot]:
    """The lots that had not ended at ``at``."""
    lots = [lot for _, lot in tanks if lot is not None]
    return [lot for lot in lots if lot.ended_at is None or lot.ended_at > at]


def contents(
    tanks: Iterable[tuple[Tank, MilkLot | None]], answers: Mapping[int, Answer]
) -> list[Content]:
    """What each tank holds; ``answers`` by the key of the lots that are there."""
    return [content(tank, lot, answers) for tank, lot in tanks]


def content(tank: Tank, lot: MilkLot | None, answers: Mapping[int, Answer]) -> Content:
    if lot is None or lot.pk not in answers:
        return Content(tank=tank, ended_at=lot.ended_at if lot else None)
    return Content(tank=tank, lot=lot, answer=answers[lot.pk])
