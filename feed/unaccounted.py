"""What of a load nobody accounted for, and which groups may have had it until somebody does."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Exists, OuterRef

from config.days import local_day
from feed.board import Row, rows_of
from feed.models import Feeding, ForageBatch
from feed.services.figures import values_on
from herd.models import Group


@dataclass(frozen=True, kw_only=True)
class MayHave:
    """A group that may have had of a load whose rest nobody wrote: when it was fed, of how much.

    ``moments``: when the group was fed anything in the load's hours, in order. ``kg`` is the whole
    rest: nobody knows how it was shared. ``surely``: the group got of the load by what is written,
    and may have had more.
    """

    batch: ForageBatch
    group: Group
    moments: tuple[datetime, ...]
    kg: Decimal
    surely: bool

    @property
    def first(self) -> datetime:
        return self.moments[0]

    @property
    def last(self) -> datetime:
        return self.moments[-1]


def questions(at: datetime) -> list[Row]:
    """Open loads of which kilos are asked for at ``at``, the oldest first. Five statements."""
    loads = list(
        ForageBatch.objects.open().filter(happened_at__lte=at).with_left(at).select_related("field")
    )
    return asked_of(loads, at)


def asked_of(loads: list[ForageBatch], at: datetime) -> list[Row]:
    """The rows of loads of which kilos are asked for at ``at``, the oldest first."""
    if not loads:
        return []
    newest = ForageBatch.objects.happened_by(at).order_by("-happened_at").first()
    rows = rows_of(loads, at, newest.happened_at if newest else at)
    return sorted(
        (row for row in rows if row.asks), key=lambda row: (row.batch.happened_at, row.batch.pk)
    )


def may_have_had(start: datetime, end: datetime, at: datetime) -> list[MayHave]:
    """Which groups may have had, between two moments, of loads whose rest is not written at ``at``.

    For the milk of these groups: until somebody answers, all of them count. Twelve statements at
    most, two when no load is open of which was fed then.
    """
    near = hour_at(at)
    return [
        one
        for one in may_have_of(open_and_fed(start - near, end + near), at)
        if any(start <= moment <= end for moment in one.moments)
    ]


def open_and_fed(start: datetime, end: datetime) -> Any:
    """Loads with something left of which was fed between two moments, as a query."""
    fed = Feeding.objects.standing().filter(
        batch=OuterRef("pk"), happened_at__gte=start, happened_at__lte=end
    )
    return ForageBatch.objects.open().filter(Exists(fed))


def may_have_of(loads: Any, at: datetime) -> list[MayHave]:
    """Which groups may have had of some open loads (a queryset) whose rest is not written."""
    rows = loads.open().filter(happened_at__lte=at).with_left(at).select_related("field")
    return may_have(asked_of(list(rows), at))


def hour_at(at: datetime) -> timedelta:
    """Groups fed so near to a feeding of a load, before or after, stood at the fence with it."""
    return timedelta(minutes=float(values_on(local_day(at), "asked_around")["asked_around"]))


def may_have(rows: Iterable[Row]) -> list[MayHave]:
    """The groups that were fed anything in the hours of these loads' feedings. Two statements."""
    rows = [row for row in rows if row.fed]
    if not rows:
        return []
    hour = hour_at(rows[0].at)
    moments = {row.batch.pk: [fed.feeding.happened_at for fed in row.fed] for row in rows}
    every = [moment for each in moments.values() for moment in each]
    near = list(
        Feeding.objects.standing()
        .filter(happened_at__gte=min(every) - hour, happened_at__lte=max(every) + hour)
        .select_related("group")
    )
    found = []
    for row in rows:
        times: dict[Group, list[datetime]] = defaultdict(list)
        for feeding in near:
            if any(abs(feeding.happened_at - one) <= hour for one in moments[row.batch.pk]):
                times[feeding.group].append(feeding.happened_at)
        sure = set(row.groups)
        found += [
            MayHave(
                batch=row.batch,
                group=group,
                moments=tuple(sorted(when)),
                kg=row.asked_kg,
                surely=group in sure,
            )
            for group, when in sorted(times.items(), key=lambda item: item[0].number)
        ]
    return found
