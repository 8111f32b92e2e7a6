"""What the milk was like after a load, the grass of a field or a day's grass was eaten. Reads only.

The milk of the groups that ate it, as a rule 12 to 60 h later, beside the same groups before:
kilos a cow, fat, protein, spores, vats slow to clot. Two spans of time side by side are an
association and no more: weather, days in milk, moves and the rest of the ration differ as well.
"""

import math
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local_day, start_of
from feed.figures import FIGURES
from feed.heads import Heads
from feed.models import Feeding, Field, ForageBatch
from feed.services.figures import values_on
from feed.unaccounted import MayHave, may_have_of
from herd.models import Group
from milk.clotting import Clot, clots_of
from milk.models import LotTest, Milking, MilkingPart, Vat, VatLot
from milk.results import COUNTS, UNITS

# What holds where the estate has not set the figures, or set the first after the second.
FROM, UNTIL = (
    timedelta(hours=float(FIGURES[name].usual or 0)) for name in ("milk_from", "milk_to")
)


@dataclass(frozen=True)
class Reach:
    """From when until when after a feeding milk counts, and as long before it beside that."""

    start: timedelta = FROM
    end: timedelta = UNTIL

    @property
    def before(self) -> timedelta:
        return self.end - self.start


MEASURED = (N_("fat"), N_("protein"), N_("spores"))
# How far back the loads of a field are looked at when nobody says how far.
DAYS_OF_FIELD = 30


@dataclass(frozen=True)
class Mean:
    """A mean and of how many it is one; ``value`` None without any."""

    value: float | None
    n: int


@dataclass
class Side:
    """The milk of one span. ``milkings``: (kg into the tank, heads) of each of them."""

    milkings: list[tuple[float, int]] = field(default_factory=list)
    lots: dict[int, float] = field(default_factory=lambda: defaultdict(float))
    lots_kg: float = 0
    tests: dict[str, list[tuple[float, float]]] = field(default_factory=lambda: defaultdict(list))
    clots: list[Clot] = field(default_factory=list)

    @property
    def a_cow(self) -> Mean:
        """kg into the tank a cow and milking."""
        counted = [(kg, heads) for kg, heads in self.milkings if heads]
        cows = sum(heads for _, heads in counted)
        return Mean(sum(kg for kg, _ in counted) / cows if cows else None, len(counted))

    def mean(self, what: str) -> Mean:
        """Mean of the lots' results, by these groups' kg in them; of counts the geometric one."""
        found = self.tests.get(what, [])
        kg = sum(weight for _, weight in found)
        if not kg:
            return Mean(None, 0)
        if what in COUNTS:
            logs = sum(math.log(value) * weight for value, weight in found)
            return Mean(math.exp(logs / kg), len(found))
        return Mean(sum(value * weight for value, weight in found) / kg, len(found))

    @property
    def share(self) -> float | None:
        """These groups' kg in per cent of all the milk in the lots they are in."""
        return sum(self.lots.values()) / self.lots_kg * 100 if self.lots_kg else None

    @property
    def clot(self) -> Mean:
        """Minutes from rennet to cut."""
        minutes = [clot.minutes for clot in self.clots]
        return Mean(sum(minutes) / len(minutes) if minutes else None, len(minutes))

    @property
    def slow(self) -> Mean:
        """Vats slow to clot; None when none was timed."""
        timed = [clot for clot in self.clots if clot.is_slow is not None]
        return Mean(sum(bool(clot.is_slow) for clot in timed) if timed else None, len(timed))


@dataclass(frozen=True, kw_only=True)
class Line:
    """One thing measured, before and after. ``of``: what the n counts."""

    what: str
    unit: str
    of: str
    places: int
    before: Mean
    after: Mean

    @property
    def difference(self) -> float | None:
        """After less before; None when either is not known."""
        if self.before.value is None or self.after.value is None:
            return None
        return self.after.value - self.before.value

    @property
    def shown_difference(self) -> str:
        """The difference with its sign, "+0.31"; "" when it is not known."""
        return "" if self.difference is None else f"{self.difference:+,.{self.places}f}"


@dataclass(frozen=True, kw_only=True)
class AfterFeed:
    """What was asked for, who ate it when, and the milk of both spans.

    ``may``: groups that may have had of it besides, for nobody wrote where the rest of a load went;
    their milk is on neither side.
    ``ended``: whether the hours after the last feeding are over at the moment it was asked.
    """

    name: str
    feedings: list[Feeding]
    before: Side
    after: Side
    ended: bool
    reach: Reach
    may: list[MayHave] = field(default_factory=list)

    @property
    def groups(self) -> list[Group]:
        """The groups that ate it, by number."""
        found = {feeding.group_id: feeding.group for feeding in self.feedings}
        return sorted(found.values(), key=lambda group: group.number)

    @property
    def kg(self) -> Decimal:
        return sum((feeding.kg for feeding in self.feedings), Decimal(0))

    @property
    def lines(self) -> list[Line]:
        """Milk, contents, spores, clotting: always all of them, with their n."""
        before, after = self.before, self.after
        told = [line(_("milk a cow and milking"), "kg", "milkings", 2, before.a_cow, after.a_cow)]
        for what in MEASURED:
            places = 0 if what in COUNTS else 2
            means = before.mean(what), after.mean(what)
            told.append(line(what, UNITS[what], _("lots tested"), places, *means))
        told.append(line(_("rennet to cut"), "min", _("vats timed"), 1, before.clot, after.clot))
        told.append(line(_("slow vats"), "", _("vats judged"), 0, before.slow, after.slow))
        return told


def line(what: str, unit: str, of: str, places: int, before: Mean, after: Mean) -> Line:
    return Line(what=what, unit=unit, of=of, places=places, before=before, after=after)


def after_load(uuid: UUID, at: datetime) -> AfterFeed:
    """After one load. Raises DoesNotExist."""
    batch = ForageBatch.objects.select_related("field").get(uuid=uuid)
    return after(str(batch), Feeding.objects.filter(batch=batch), at)


def after_field(uuid: UUID, first: date, last: date, at: datetime) -> AfterFeed:
    """After the loads that were cut from a field on the days first to last. Raises DoesNotExist."""
    found = Field.objects.get(uuid=uuid)
    cuts = ForageBatch.objects.standing().filter(field=found, **on_days("happened_at", first, last))
    batches = list(cuts.values_list("pk", flat=True))
    return after(
        _("grass of {found}").format(found=found), Feeding.objects.filter(batch__in=batches), at
    )


def after_day(day: date, at: datetime) -> AfterFeed:
    """After the fresh grass fed on a day."""
    fed = Feeding.objects.filter(batch__isnull=False, **on_days("happened_at", day, day))
    return after("grass", fed, at)


def on_days(name: str, first: date, last: date) -> dict[str, datetime]:
    """A filter on the estate's days first to last, both included."""
    return {
        f"{name}__gte": start_of(first),
        f"{name}__lt": start_of(last + timedelta(days=1)),
    }


def after(name: str, found: Any, at: datetime) -> AfterFeed:
    """The milk after and before some feedings (a queryset). Eighteen statements at most."""
    standing = found.filter(struck_at=None).select_related("group")
    feedings = list(standing.order_by("happened_at", "pk"))
    before, later, reach = Side(), Side(), Reach()
    if feedings:
        reach = reach_on(local_day(feedings[-1].happened_at))
        put_milkings(feedings, before, later, reach)
        put_tests(before, later)
        put_clots(before, later)
    ended = not feedings or feedings[-1].happened_at + reach.end <= at
    return AfterFeed(
        name=name,
        feedings=feedings,
        before=before,
        after=later,
        ended=ended,
        reach=reach,
        may=may_besides(feedings, at),
    )


def may_besides(feedings: list[Feeding], at: datetime) -> list[MayHave]:
    """The groups that may have had of the loads of these feedings, and did not surely."""
    loads = {feeding.batch_id for feeding in feedings if feeding.batch_id}
    if not loads:
        return []
    found = may_have_of(ForageBatch.objects.filter(pk__in=loads), at)
    return [one for one in found if not one.surely]


def reach_on(day: date) -> Reach:
    """The estate's own hours in force on a day; the usual ones where none are set, or are odd."""
    figures = values_on(day, "milk_from", "milk_to")
    start, end = (timedelta(hours=float(figures[name])) for name in ("milk_from", "milk_to"))
    return Reach(start, end) if start < end else Reach()


def side_of(moment: datetime, fed: Sequence[datetime], reach: Reach) -> str:
    """Whether milk of a moment is "after", "before" or neither (""), by sorted feeding times."""
    oldest = bisect_left(fed, moment - reach.end)
    soonest = bisect_right(fed, moment - reach.start)
    if oldest < soonest:
        return "after"
    now = bisect_right(fed, moment)
    if now > soonest:
        return ""
    return "before" if bisect_right(fed, moment + reach.before) > now else ""


def put_milkings(feedings: list[Feeding], before: Side, later: Side, reach: Reach) -> None:
    """Sort the groups' milkings into the two spans, with their heads and their lots."""
    fed: dict[int, list[datetime]] = defaultdict(list)
    for feeding in feedings:
        fed[feeding.group_id].append(feeding.happened_at)
    start = feedings[0].happened_at - reach.before
    end = feedings[-1].happened_at + reach.end
    heads = Heads(fed, start, end)
    milkings = Milking.objects.standing().filter(
        group__in=list(fed), happened_at__gte=start, happened_at__lte=end
    )
    sides = {"after": later, "before": before}
    of_milking: dict[int, str] = {}
    whole: dict[tuple[Any, ...], list[Any]] = {}
    for milking in milkings.order_by("happened_at", "pk"):
        side = side_of(milking.happened_at, fed[milking.group_id], reach)
        of_milking[milking.pk] = side
        if side:
            # A milking that went on into another tank is two rows, and one milking of the cows.
            key = (side, milking.group_id, milking.day, milking.session)
            cows = heads.at(milking.group_id, milking.happened_at)
            whole.setdefault(key, [0.0, cows])[0] += float(milking.kg)
    for (side, *_rest), (kg, cows) in whole.items():
        sides[side].milkings.append((kg, cows))
    put_lots(of_milking, before, later)


def put_lots(of_milking: dict[int, str], before: Side, later: Side) -> None:
    """Sort the lots: one with milk from after is of that span, whatever else is in it."""
    parts = MilkingPart.objects.filter(milking__in=list(of_milking), lot__void=False)
    rows = list(parts.values_list("lot", "milking", "kg", "lot__kg", "lot__carried_kg"))
    found: dict[str, set[int]] = defaultdict(set)
    for lot, milking, *_rest in rows:
        found[of_milking[milking]].add(lot)
    before_only = found["before"] - found["after"] - found[""]
    for side, name, lots in ((later, "after", found["after"]), (before, "before", before_only)):
        sizes = {}
        for lot, milking, kg, own, carried in rows:
            if lot in lots and of_milking[milking] == name:
                side.lots[lot] += float(kg)
                sizes[lot] = float(own + carried)
        side.lots_kg = sum(sizes.values())


def put_tests(before: Side, later: Side) -> None:
    """The lots' results; several of one lot are one, their mean."""
    lots = [*before.lots, *later.lots]
    tests = LotTest.objects.standing().filter(lot__in=lots, what__in=MEASURED, value__gt=0)
    found: dict[tuple[int, str], list[float]] = defaultdict(list)
    for lot, what, value in tests.values_list("lot", "what", "value"):
        found[lot, what].append(float(value))
    for (lot, what), values in found.items():
        side = later if lot in later.lots else before
        weight = side.lots[lot]
        side.tests[what].append((middle(values, what), weight))


def middle(values: Iterable[float], what: str) -> float:
    """The mean of results of one lot, of counts the geometric one."""
    told = list(values)
    if what in COUNTS:
        return math.exp(sum(map(math.log, told)) / len(told))
    return sum(told) / len(told)


def put_clots(before: Side, later: Side) -> None:
    """How the vats clotted that the lots went into; a vat with milk from after is of that span."""
    of_lots = VatLot.objects.filter(lot__in=[*before.lots, *later.lots]).filter(
        Q(vat__struck_at=None)
    )
    vats: dict[int, bool] = defaultdict(bool)
    for vat, lot in of_lots.values_list("vat", "lot"):
        vats[vat] |= lot in later.lots
    for vat, clot in clots_of(Vat.objects.filter(pk__in=sorted(vats))).items():
        (later if vats[vat] else before).clots.append(clot)
