"""How long milk that is held can still be stopped: until it is usually poured, or lifted."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from decimal import Decimal

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from milk.below import Catchable
from milk.models import Vat, VatFill
from milk.runs import run_said, runs
from milk.time_left import usual_make

# The habit of the last days tells when vats are filled and lifted.
LOOKED_AT = timedelta(days=7)
POUR_NOW = N_("vats are being filled at this hour")
POUR_AT = N_("vats are usually filled from {at}")
LIFT_AT = N_("usually lifted at {at}")
NO_HABIT = N_("nobody knows how long")


@dataclass(frozen=True, kw_only=True)
class Stop:
    """Something to stop: its name, its kg (None for a vat in the making), and until when.

    ``until`` None: the book shows no habit to tell it by.
    """

    name: str
    kg: Decimal | None
    until: datetime | None
    why: str
    at: datetime

    @property
    def minutes(self) -> int | None:
        """Whole minutes left, 0 when it may be too late any moment."""
        if self.until is None:
            return None
        return max(0, int((self.until - self.at).total_seconds() // 60))

    @property
    def left(self) -> str:
        """The time left in words: minutes up to two hours, then whole hours."""
        if self.minutes is None:
            return _("now")
        if self.minutes == 0:
            return _("at once")
        if self.minutes < 120:
            return _("{minutes} min left").format(minutes=self.minutes)
        return _("{minutes} h left").format(minutes=self.minutes // 60)

    @property
    def is_far(self) -> bool:
        """Whether the hour alone does not tell until when."""
        return self.minutes is not None and self.minutes >= 120


def stops_of(found: Catchable, at: datetime) -> list[Stop]:
    """What can still be stopped, what is soonest too late first. Two statements at most."""
    stops = []
    if found.tanks or found.trays:
        until, why = next_pour(at)
        stops += [
            Stop(name=name, kg=kg, until=until, why=why, at=at)
            for name, kg in (*found.tanks, *found.in_trays)
        ]
    if found.vats:
        lasts = usual_make(at)
        stops += lifts_of(found.vats, lasts, at)
    return sorted(stops, key=lambda stop: (stop.until is None, stop.until or at, stop.name))


def lifts_of(vats: Iterable[Vat], lasts: timedelta | None, at: datetime) -> list[Stop]:
    """The vats in the making, those lifted in the same minute and counting up taken together."""
    by_minute: dict[datetime | None, list[str]] = {}
    for vat in vats:
        until = vat.lifted_at or (vat.happened_at + lasts if lasts is not None else None)
        minute = until.replace(second=0, microsecond=0) if until else None
        by_minute.setdefault(minute, []).append(str(vat))
    return [
        Stop(
            name=run_said(run),
            kg=None,
            until=until,
            why=_(LIFT_AT).format(at=clock(until)) if until else _(NO_HABIT),
            at=at,
        )
        for until, names in by_minute.items()
        for run in runs(names)
    ]


def next_pour(at: datetime) -> tuple[datetime | None, str]:
    """When vats are filled next by the habit of the last days; ``at`` itself while they are."""
    fills = VatFill.objects.standing().filter(
        happened_at__gt=at - LOOKED_AT - timedelta(days=1), happened_at__lte=at
    )
    hours = [timezone.localtime(moment).time() for (moment,) in fills.values_list("happened_at")]
    if not hours:
        return None, _(NO_HABIT)
    first, last = min(hours), max(hours)
    here = timezone.localtime(at)
    if first <= here.time() <= last:
        return at, _(POUR_NOW)
    day = here.date() if here.time() < first else here.date() + timedelta(days=1)
    until = timezone.make_aware(datetime.combine(day, first.replace(second=0, microsecond=0)))
    return until, _(POUR_AT).format(at=words_of(first))


def clock(moment: datetime) -> str:
    return words_of(timezone.localtime(moment).time())


def words_of(hour: time) -> str:
    return hour.strftime("%H:%M")
