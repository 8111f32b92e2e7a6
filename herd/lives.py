"""What was written of each animal's breeding, read for many animals in a few statements."""

from collections.abc import Collection, Iterable, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import F, Max, Min, Q
from django.db.models.expressions import RawSQL
from django.db.models.functions import TruncDate

from config.days import local_day
from herd.breeding import SHORT_BREEDS, Check, Life
from herd.breeding_rules import breeds
from herd.models import (
    Animal,
    BreedingDecision,
    Calving,
    DryOff,
    GroupStay,
    Heat,
    PregnancyCheck,
    Service,
)
from herd.services.withdrawals import grouped

# Of what happens again and again only so much is read: nothing older says where she stands today.
LOOK_BACK = timedelta(days=3 * 365)

Rows = Iterable[tuple[Any, ...]]


def lives(animals: Sequence[int], now: datetime) -> dict[int, Life]:
    """The lives of some animals (ids) as far as they happened by ``now``. Eight statements."""
    begin = now - LOOK_BACK
    if not animals:
        return {}
    these = as_array(animals)
    said = {"animal__in": these, "happened_at__lte": now}
    recent = {**said, "happened_at__gt": begin}
    calved = days(written(Calving, "dam", dam__in=these, happened_at__lte=now))
    served = days(written(Service, "animal", **recent))
    heats = days(written(Heat, "animal", **recent))
    dried = days(written(DryOff, "animal", **recent))
    decided = grouped(
        (animal, (day, serve))
        for animal, day, serve in written(BreedingDecision, "animal", "serve", **said)
    )
    checked = grouped(
        (animal, Check(day, result, estimated))
        for animal, day, result, estimated in written(
            PregnancyCheck, "animal", "result", "days", **recent
        )
    )
    known = breeds()
    names = Animal.objects.filter(pk__in=these).values_list("pk", "breed")
    return {
        animal: Life(
            calvings=tuple(calved.get(animal, ())),
            services=tuple(served.get(animal, ())),
            checks=tuple(checked.get(animal, ())),
            heats=tuple(heats.get(animal, ())),
            dry_offs=tuple(dried.get(animal, ())),
            decisions=tuple(decided.get(animal, ())),
            breed=known.get(breed_code(breed), ()),
        )
        for animal, breed in names
    }


def as_array(animals: Collection[int]) -> RawSQL:
    """Animals (ids) as one value: thousands of parameters take longer to write than to look up."""
    return RawSQL("SELECT unnest(%s::int[])", [list(animals)])


def breed_code(breed: str) -> str:
    """The breed's code of three letters, also of one written with two."""
    code = breed.strip().upper()
    return SHORT_BREEDS.get(code, code)


def written(model: Any, animal: str, *columns: str, **said: Any) -> Rows:
    """Standing entries as rows of animal, the estate's date and columns, in order of time."""
    rows: Rows = (
        model.objects.standing()
        .filter(**said)
        .order_by("happened_at", "pk")
        .annotate(day=TruncDate("happened_at"))
        .values_list(f"{animal}_id", "day", *columns)
    )
    return rows


def days(rows: Rows) -> dict[int, list[date]]:
    """The dates of rows, by animal."""
    return grouped((animal, day) for animal, day in rows)


def presence(since: datetime, now: datetime) -> dict[int, tuple[tuple[date, date | None], ...]]:
    """When each female was on the estate, of those that were there at any time since a moment.

    From her first stay to her leaving; an animal that came back is there from her first stay on.
    """
    here = Q(group=None) & Q(happened_at__lte=now)
    rows = (
        GroupStay.objects.standing()
        .filter(animal__sex=Animal.Sex.FEMALE, happened_at__lte=now)
        .values("animal")
        .annotate(came=Min("happened_at"), left=Max("happened_at", filter=here))
        .annotate(last=Max("happened_at"))
        .filter(Q(left=None) | Q(left__gt=since) | Q(last__gt=F("left")))
        .values_list("animal", "came", "left", "last")
    )
    return {
        animal: ((local_day(came), local_day(left) if left is not None and left == last else None),)
        for animal, came, left, last in rows
    }
