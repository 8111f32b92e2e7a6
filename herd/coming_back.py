"""Whose first milking back in the tank is the next one of their group: the bands to take off."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.contrib.postgres.fields.ranges import RangeEndsWith
from psycopg.types.range import TimestamptzRange

from config.days import estate_zone
from herd.models import WithdrawalPeriod
from herd.planned import LOOK_AHEAD, PlannedTime, Stands, first_milking
from herd.services.withdrawals import times_by_group
from herd.withheld import Answer

# Between two milkings of a group lies less than this; a period that ended earlier has had its
# milking back already.
BETWEEN_MILKINGS = timedelta(days=2)


def coming_back(at: datetime, answers: Iterable[Answer]) -> dict[int, datetime]:
    """The next planned start of her group, by animal (id), for those that come back at it.

    Both those still withheld until then, and those whose period ended after the milking before.
    """
    found = [answer for answer in answers if answer.is_milked]
    times, upcoming = times_by_group(), dict[int, datetime | None]()
    for group in {answer.group_id for answer in found}:
        upcoming[group] = next_start(times.get(group, ()), at)
    ended = last_ends(at, [answer.animal_id for answer in found if not answer.withheld])
    back = {}
    for answer in found:
        start = upcoming[answer.group_id]
        end = ended.get(answer.animal_id)
        first = answer.back if answer.withheld else None
        if end is not None:
            first = next_start(times.get(answer.group_id, ()), end)
        if start is not None and first == start:
            back[answer.animal_id] = start
    return back


def next_start(times: tuple[PlannedTime, ...], at: datetime) -> datetime | None:
    """A group's first planned start at or after a moment; None without a plan."""
    return first_milking([Stands(at, at + LOOK_AHEAD, times)], estate_zone(), at)


def last_ends(at: datetime, animals: list[int]) -> dict[int, datetime]:
    """When the last period of each of these animals ended, of those that ended lately."""
    # By the span and not by the animals: few periods end in two days, and a herd has thousands.
    lately = TimestamptzRange(at - BETWEEN_MILKINGS, at, "[]")
    ended = WithdrawalPeriod.objects.filter(
        during__overlap=lately,
        during__endswith__gt=at - BETWEEN_MILKINGS,
        during__endswith__lte=at,
    )
    of_these = set(animals)
    found: dict[int, datetime] = {}
    for animal, end in ended.values_list("animal_id", RangeEndsWith("during")):
        if animal in of_these:
            found[animal] = max(found.get(animal, end), end)
    return found
