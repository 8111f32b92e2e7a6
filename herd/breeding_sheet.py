"""How the herd breeds at a moment: rates of 21 days, days open, and the calving interval."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from statistics import fmean, median

from django.utils import timezone

from herd.breeding import IN_CALF, Life, Rules, Standing, days_open, standing
from herd.breeding_rates import Period, calving_interval, cycle, rates
from herd.breeding_rules import breeding_rules
from herd.lives import lives, presence

# Periods of 21 days shown: half a year.
PERIODS = 9
YEAR = timedelta(days=365)


@dataclass(frozen=True, kw_only=True)
class BreedingSheet:
    """The figures of a day.

    ``interval``: mean days between calvings closed in the last year, of ``calvings`` cows, None
    without any; ``culled_empty``: cows that left in that year without being in calf, whom the
    interval hides. ``open_mean`` and ``open_median``: days open of the cows in calf, None without
    any; ``still_open``: cows past their waiting days that are not known to be in calf.
    """

    day: date
    periods: list[Period]
    interval: Decimal | None
    calvings: int
    culled_empty: int
    in_calf: int
    open_mean: float | None
    open_median: float | None
    still_open: int


def breeding_sheet(
    at: datetime,
    periods: int = PERIODS,
    *,
    read: Mapping[int, Life] | None = None,
    places: Mapping[int, Standing] | None = None,
) -> BreedingSheet:
    """The figures at a moment. Raises Conflict when a rule they need has no value.

    ``read``, ``places``: the lives of animals (ids) and where they stand at that moment, as far as
    they are known already; the rest is read.
    """
    today = timezone.localdate(at)
    rules = breeding_rules(today)
    there = presence(at - max(YEAR, timedelta(days=rules.period * (periods + 1))), at)
    read, places = read or {}, places or {}
    others = lives(sorted(there.keys() - read.keys()), at)
    known = {
        animal: replace(life, present=there[animal])
        for animal, life in {**read, **others}.items()
        if animal in there
    }
    stand = {
        animal: places.get(animal) or standing(life, today, rules) for animal, life in known.items()
    }
    here = [stand[animal] for animal, life in known.items() if life.present[-1][1] is None]
    mean, calvings = calving_interval(known.values(), today)
    counted = opened(here, today)
    closed = [days for days, is_open in counted if not is_open]
    still = [days for days, is_open in counted if is_open]
    return BreedingSheet(
        day=today,
        periods=rates(
            [cycle(life, today, rules, stand[animal]) for animal, life in known.items()],
            today,
            rules,
            periods,
        ),
        interval=mean,
        calvings=calvings,
        culled_empty=sum(left_empty(life, today, rules) for life in known.values()),
        in_calf=len(closed),
        open_mean=fmean(closed) if closed else None,
        open_median=median(closed) if closed else None,
        still_open=sum(days >= rules.waiting for days in still),
    )


def opened(here: Iterable[Standing], today: date) -> list[tuple[int, bool]]:
    """Days open of every cow that has calved, and whether she still is."""
    found = (days_open(place, today) for place in here)
    return [days for days in found if days is not None]


def left_empty(life: Life, today: date, rules: Rules) -> bool:
    """Whether a cow left in the last year without being in calf."""
    left = life.present[-1][1]
    if left is None or not life.calvings or not today - YEAR < left <= today:
        return False
    return standing(life, left, rules).state != IN_CALF
