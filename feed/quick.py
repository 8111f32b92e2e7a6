"""One touch a group: the kilos a feed hand most likely gives of the load in front of him. Reads."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from uuid import UUID

from feed.models import Feeding, ForageBatch
from herd.models import Group

# What a group got longer ago was another season's grass.
LATELY = timedelta(days=7)
WHOLE = Decimal(1)


@dataclass(frozen=True)
class Quick:
    """So many kg of a load to a group, by one touch; ``name``: the field of the form it fills."""

    name: str
    group: Group
    kg: Decimal


@dataclass(frozen=True)
class QuickLoad:
    """The load that is fed first and what each group likely gets of it."""

    load: ForageBatch
    left_kg: Decimal
    shares: list[Quick]


def quick_load(
    loads: list[ForageBatch], groups: dict[str, Group], of: str, at: datetime
) -> QuickLoad | None:
    """The load asked for, else the one with the soonest deadline that is not past. One statement.

    A group gets as much as it got of grass the last time, or all that is left where that is less.
    While nobody knows of any, every group may get all of it. None when nothing is to be fed, or the
    load asked for is past its time.
    """
    number = asked(of)
    fit = [load for load in loads if load.deadline is None or load.deadline > at]
    if of:
        fit = [load for load in fit if load.uuid == number]
    if not fit or not groups:
        return None
    load = fit[0]
    left = Decimal(load.left_kg).quantize(WHOLE)  # type: ignore[attr-defined]  # annotated
    if left <= 0:
        return None
    usual = last_kg([group.pk for group in groups.values()], at)
    shares = [
        Quick(name, group, min(usual.get(group.pk, left), left))
        for name, group in groups.items()
        if not usual or group.pk in usual
    ]
    return QuickLoad(load, left, shares)


def asked(of: str) -> UUID | None:
    """The number of what is asked for; None when it is none."""
    try:
        return UUID(of)
    except ValueError:
        return None


def last_kg(groups: list[int], at: datetime) -> dict[int, Decimal]:
    """By group (key), the kg of grass it got last, of those that got any lately."""
    fed = Feeding.objects.standing().filter(
        group__in=groups, batch__isnull=False, happened_at__gt=at - LATELY, happened_at__lte=at
    )
    rows = fed.order_by("group", "-happened_at", "-pk").distinct("group")
    return {group: kg.quantize(WHOLE) for group, kg in rows.values_list("group_id", "kg")}
