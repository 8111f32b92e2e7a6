"""How warm and how old the milk in the tanks is, read from the book and held against the rules.

A lot that stood for more than a day is milk “collected less often than daily”. Its milkings are its
own and those of the milk carried over into it: warm milk on top of old is as old as the oldest.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.db.models import Q

from config.days import local_day, start_of
from milk import cooling
from milk.below import ancestors
from milk.cooling import Age, Cooled, Reading, TooWarm
from milk.models import CoolingRule, LotTest, MilkingPart, MilkLot, Tank, TankEvent
from milk.models.limits import What

# Milk stands in a tank for a day or two; what stands longer than this is news of another kind.
LOOKED_BACK = timedelta(days=14)
DAILY = timedelta(hours=24)
# So long before its time milk is told to be used: an hour or two of work at the vats.
TOLD_AHEAD = timedelta(hours=2)


@dataclass(frozen=True, kw_only=True)
class Kept:
    """A lot that is not used up, with what its rules say.

    ``warm``: the newest reading, when it is too warm; ``use_by``: the earliest moment or day it
    must be used by, with the rule; ``old``: whether that has passed.
    """

    lot: MilkLot
    warm: TooWarm | None = None
    oldest: datetime | None = None
    use_by: datetime | None = None
    age_rule: Age | None = None
    old: bool = False


def rules_on(at: datetime) -> list[CoolingRule]:
    """The cooling rules of the estate's schemes that are valid on the day of ``at``."""
    day = local_day(at)
    rows = CoolingRule.objects.standing().filter(
        scheme__in=settings.ESTATE_SCHEMES, valid_from__lte=day
    )
    latest: dict[tuple[Any, ...], CoolingRule] = {}
    for row in rows.order_by("valid_from", "id"):
        latest[row.of, row.counted_from, row.collected, row.scheme] = row
    return list(latest.values())


def cooled_of(rule: CoolingRule) -> Cooled:
    """A rule to cool as the pure rules want it."""
    assert rule.at_most is not None
    assert rule.minutes is not None
    used = rule.used_within
    return Cooled(
        at_most=rule.at_most,
        within=timedelta(minutes=rule.minutes),
        counted_from=cooling.From(rule.counted_from),
        scheme=rule.scheme,
        used_within=None if used is None else timedelta(minutes=used),
    )


def age_of(rule: CoolingRule) -> Age:
    """A rule about age as the pure rules want it."""
    return Age(
        scheme=rule.scheme,
        within=None if rule.minutes is None else timedelta(minutes=rule.minutes),
        days=rule.days,
        warmer_than=rule.warmer_than,
    )


def kept_lots(at: datetime) -> list[Kept]:
    """Every lot with milk in a tank at ``at`` that is too warm, too old or soon will be.

    Waste tanks are left out. A handful of statements, however many lots.
    """
    rules = rules_on(at)
    lots = list(standing_lots(at)) if rules else []
    if not lots:
        return []
    milkings = milkings_of([lot.pk for lot in lots])
    readings = readings_of(lots, at)
    found = [judged(lot, rules, milkings[lot.pk], readings[lot.pk], at) for lot in lots]
    return [kept for kept in found if kept.warm or kept.use_by]


def standing_lots(at: datetime) -> Any:
    """Lots opened in the last days of which something is left at ``at``."""
    return (
        MilkLot.objects.valid()
        .filter(Q(ended_at=None) | Q(ended_at__gt=at))
        .filter(opened_at__gt=at - LOOKED_BACK, opened_at__lte=at, kg__gt=0)
        .exclude(tank__use=Tank.Use.WASTE)
        .select_related("tank", "delivery")
        .order_by("opened_at", "id")
    )


def judged(
    lot: MilkLot,
    rules: Iterable[CoolingRule],
    milkings: list[cooling.Milking],
    readings: list[Reading],
    at: datetime,
) -> Kept:
    """One lot against the rules that are for it."""
    less = at - lot.opened_at > DAILY
    own = CoolingRule.Collected.LESS if less else CoolingRule.Collected.DAILY
    mine = [rule for rule in rules if rule.collected in ("", own)]
    last = readings[-1:]
    warm = cooling.too_warm(
        last, milkings, [cooled_of(rule) for rule in mine if rule.of == CoolingRule.Of.COOLED]
    )
    oldest = min((milking.start for milking in milkings), default=None)
    ages = [age_of(rule) for rule in mine if rule.of == CoolingRule.Of.AGE]
    due = soonest(oldest, ages, last, at) if oldest else None
    return Kept(
        lot=lot,
        warm=warm[0] if warm else None,
        oldest=oldest,
        use_by=due[0] if due else None,
        age_rule=due[1] if due else None,
        old=bool(due) and due is not None and due[0] < at,
    )


def soonest(
    oldest: datetime, ages: Iterable[Age], last: list[Reading], at: datetime
) -> tuple[datetime, Age] | None:
    """The first moment that passed, or passes soon, by which milk must be used; with its rule."""
    celsius = last[-1].celsius if last else None
    found = []
    for rule in ages:
        by = use_by(oldest, rule)
        days = {"oldest_on": local_day(oldest), "on": local_day(at + TOLD_AHEAD)}
        if cooling.too_old(oldest, rule, at + TOLD_AHEAD, celsius=celsius, **days):
            found.append((by, rule))
    return min(found, key=lambda each: each[0], default=None)


def use_by(oldest: datetime, rule: Age) -> datetime:
    """The moment a rule about age asks milk to be used by; of a day its end."""
    by = cooling.use_by(oldest, rule)
    if by is not None:
        return by
    last = cooling.last_day(local_day(oldest), rule)
    assert last is not None
    return start_of(last + timedelta(days=1))


def milkings_of(lots: Collection[int]) -> dict[int, list[cooling.Milking]]:
    """When the milk of lots was milked or arrived, carried-over milk included, by lot."""
    above = ancestors(lots)
    numbers = {number for of_it in above.values() for number in of_it}
    own: dict[int, list[cooling.Milking]] = defaultdict(list)
    parts = MilkingPart.objects.filter(lot_id__in=numbers, milking__struck_at=None)
    for lot, start, end in parts.values_list("lot_id", "milking__happened_at", "milking__ended_at"):
        own[lot].append(cooling.Milking(start=start, end=end))
    arrived = MilkLot.objects.filter(pk__in=numbers, delivery__way="in")
    for lot, start, end in arrived.values_list("pk", "delivery__happened_at", "delivery__ended_at"):
        own[lot].append(cooling.Milking(start=start, end=end, receipt=start))
    return {lot: [one for number in above[lot] for one in own[number]] for lot in lots}


def readings_of(lots: Collection[MilkLot], at: datetime) -> dict[int, list[Reading]]:
    """The temperatures read of lots up to ``at``, oldest first, by lot: tank, delivery, sample."""
    found: dict[int, list[Reading]] = {lot.pk: [] for lot in lots}
    first = min(lot.opened_at for lot in lots)
    events = TankEvent.objects.standing().filter(
        tank_id__in={lot.tank_id for lot in lots},
        happened_at__gte=first,
        happened_at__lte=at,
        temperature__isnull=False,
    )
    in_tank = list(events.values_list("tank_id", "happened_at", "temperature"))
    for lot in lots:
        found[lot.pk] += [
            Reading(at=when, celsius=celsius, where=str(lot.tank))
            for tank, when, celsius in in_tank
            if tank == lot.tank_id
            and lot.opened_at <= when
            and (lot.ended_at is None or when < lot.ended_at)
        ]
        delivery = lot.delivery
        if delivery is not None and delivery.temperature is not None:
            said = Reading(at=delivery.happened_at, celsius=delivery.temperature, where="arrival")
            found[lot.pk].append(said)
    sampled = LotTest.objects.standing().filter(
        lot_id__in=sorted(found), what=What.TEMPERATURE, happened_at__lte=at
    )
    for lot_id, when, value in sampled.values_list("lot_id", "happened_at", "value"):
        found[lot_id].append(Reading(at=when, celsius=value, where="sample"))
    return {lot: sorted(of_it, key=lambda one: one.at) for lot, of_it in found.items()}
