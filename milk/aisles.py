"""One aisle of the store, in the order in which somebody walks along it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from milk.held import open_holds
from milk.models import StockCount, StoreFinding, StorePlace, Wheel, WheelPlace


@dataclass(frozen=True)
class Lying:
    """A wheel on its shelf: held or not, and the last thing that was wrong with it."""

    place: StorePlace
    wheel: Wheel
    held: bool
    finding: StoreFinding | None

    @property
    def is_wrong(self) -> bool:
        """Whether something was found wrong with it and not put right."""
        return self.finding is not None and not self.finding.put_right


@dataclass(frozen=True)
class Column:
    """A column of shelves: its wheels from the floor up, and its shelves where nothing lies."""

    number: int
    lying: tuple[Lying, ...]
    empty: tuple[int, ...]

    @property
    def free(self) -> int:
        return len(self.empty)


@dataclass(frozen=True)
class AisleNow:
    """An aisle with its columns, its wheels with something wrong, and its last count."""

    room: str
    aisle: int
    columns: tuple[Column, ...]
    last_count: StockCount | None

    @property
    def lying(self) -> tuple[Lying, ...]:
        return tuple(one for column in self.columns for one in column.lying)

    @property
    def wrong(self) -> tuple[Lying, ...]:
        """The wheels to look at: something was wrong and was not put right, or it is held."""
        return tuple(one for one in self.lying if one.held or one.is_wrong)

    @property
    def free(self) -> int:
        return sum(column.free for column in self.columns)


def aisle_now(room: str, aisle: int, at: datetime) -> AisleNow | None:
    """The aisle by the book; None when it has no places. A few statements for all its wheels."""
    places = list(
        StorePlace.objects.standing()
        .filter(room=room, aisle=aisle)
        .order_by("column", "shelf")
        .only("room", "aisle", "column", "shelf")
    )
    if not places:
        return None
    rows = WheelPlace.objects.filter(place__in=[place.pk for place in places])
    wheels = {row.place_id: row.wheel for row in rows.select_related("wheel__vat")}
    numbers = [wheel.pk for wheel in wheels.values()]
    held, findings = open_holds(wheel_ids=numbers), last_findings(numbers, at)
    columns: dict[int, list[StorePlace]] = {}
    for place in places:
        columns.setdefault(place.column, []).append(place)
    made = [
        Column(
            number,
            tuple(
                Lying(
                    place,
                    wheels[place.pk],
                    ("wheel", wheels[place.pk].pk) in held,
                    findings.get(wheels[place.pk].pk),
                )
                for place in there
                if place.pk in wheels
            ),
            tuple(place.shelf for place in there if place.pk not in wheels),
        )
        for number, there in columns.items()
    ]
    counts = StockCount.objects.standing().filter(room=room, aisle=aisle)
    return AisleNow(room, aisle, tuple(made), counts.order_by("-happened_at", "-id").first())


def last_findings(wheels: Iterable[int], at: datetime) -> dict[int, StoreFinding]:
    """By wheel (key), what was last written about it on a round."""
    rows = StoreFinding.objects.standing().filter(Q(happened_at__lte=at), wheel__in=list(wheels))
    last = rows.order_by("wheel", "-happened_at", "-id").distinct("wheel")
    return {row.wheel_id: row for row in last}
