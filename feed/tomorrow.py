"""What to cut for a day: from cows, target and dry matter, in which loads and on which fields.

Less is cut than would be thrown away, and never less than they need: the need is exact, the loads
are no fuller than it, and grass that lies there already is told but not taken off by itself, for it
may be fed tonight.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from itertools import groupby

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import estate_zone, local_day
from config.templatetags.sheet import amount
from feed.cutting import Wanted, kilos_needed, kilos_to_cut, wagons
from feed.dry_matter import Grass, Known
from feed.figures import clock_of
from feed.heads import Heads
from feed.models import ForageBatch, GrassTarget
from feed.services.figures import values_on
from feed.stands import Stand, stands
from feed.waste import Waste, waste
from herd.models import Group

WEEK = timedelta(days=7)
FIGURES_USED = ("wagon", "cut_loss", "trip_least", "cut_step", "fence_hour")
NO_TARGET = N_("No group has a grass target for that day.")
NO_DRY_MATTER = N_("Nobody has found the dry matter of grass in the last {days} days.")
NO_WAGON = N_("How much a wagon holds is not set among the feed figures.")


@dataclass(frozen=True, kw_only=True)
class Share:
    """One group: its cows now, the target, and the fresh kilos that is."""

    group: Group
    wanted: Wanted
    kg: Decimal | None


@dataclass(frozen=True, kw_only=True)
class Growing:
    """A field that may be cut; ``too_long``: more stands there than shall."""

    stand: Stand
    too_long: bool


@dataclass(frozen=True, kw_only=True)
class Mown:
    """How much of a field to mow."""

    stand: Stand
    kg: Decimal
    hectares: Decimal


@dataclass(frozen=True, kw_only=True)
class Lying:
    """A load of which something lies there that is still good when the grass is fed that day."""

    batch: ForageBatch
    left_kg: Decimal


@dataclass
class Plan:
    """What to cut for a day. ``why_not``: what must be known first; empty when all is."""

    day: date
    at: datetime
    shares: list[Share] = field(default_factory=list)
    without: list[Group] = field(default_factory=list)
    known: Known | None = None
    loss: Decimal = Decimal(0)
    loss_known: bool = False
    needed_kg: Decimal | None = None
    cut_kg: Decimal | None = None
    less_kg: Decimal | None = None
    loads: list[Decimal] = field(default_factory=list)
    wagon_kg: Decimal | None = None
    lying: list[Lying] = field(default_factory=list)
    fields: list[Growing] = field(default_factory=list)
    waiting: list[Stand] = field(default_factory=list)
    mown: list[Mown] = field(default_factory=list)
    week: Waste | None = None
    why_not: list[str] = field(default_factory=list)

    @property
    def cows(self) -> int:
        return sum(share.wanted.cows for share in self.shares)

    @property
    def dry_matter_kg(self) -> Decimal:
        return sum((share.wanted.dry_matter_kg for share in self.shares), Decimal(0))

    @property
    def loads_words(self) -> str:
        """The loads for reading, "9 of 9,000 kg and 1 of 3,700 kg"."""
        each = [(len(list(same)), kg) for kg, same in groupby(self.loads)]
        return f" {_('and')} ".join(
            _("{n} of {kg} kg").format(n=n, kg=amount(kg)) for n, kg in each
        )

    @property
    def lying_kg(self) -> Decimal:
        return sum((one.left_kg for one in self.lying), Decimal(0))


def plan(day: date, at: datetime) -> Plan:
    """The plan of a cut for a day, as known at a moment. Some twenty statements."""
    found = needed(day, at)
    put_fields(found, values_on(day, "cover_most")["cover_most"])
    found.week = waste(local_day(at - WEEK) + timedelta(days=1), local_day(at))
    return found


def needed(day: date, at: datetime) -> Plan:
    """The plan without its fields: how many kilos and loads the cows need on a day."""
    found = Plan(day, at)
    figures = values_on(day, *FIGURES_USED)
    put_cows(found)
    grass = Grass(at, at)
    found.known = grass.at(at)
    if "cut_loss" in figures:
        found.loss, found.loss_known = figures["cut_loss"], True
    if found.known is None:
        found.why_not.append(_(NO_DRY_MATTER).format(days=grass.reach.days))
    put_kilos(found, figures)
    return found


def put_cows(found: Plan) -> None:
    """The groups with a target on that day and the cows in them now, and those without one."""
    targets = (
        GrassTarget.objects.standing()
        .filter(valid_from__lte=found.day, group__struck_at=None)
        .select_related("group")
        .order_by("group", "-valid_from")
        .distinct("group")
    )
    by_group = {target.group_id: target for target in targets}
    groups = Group.objects.standing().order_by("number")
    heads = Heads((group.pk for group in groups), found.at, found.at)
    for group in groups:
        cows, target = heads.at(group.pk, found.at), by_group.get(group.pk)
        if target is None:
            if cows and group.use != Group.Use.YOUNG:
                found.without.append(group)
            continue
        wanted = Wanted(cows=cows, target=target.dry_matter_kg)
        found.shares.append(Share(group=group, wanted=wanted, kg=None))


def put_kilos(found: Plan, figures: dict[str, Decimal]) -> None:
    """The kilos to cut and the loads; what must be known first when that cannot be told."""
    if not found.shares:
        found.why_not.insert(0, _(NO_TARGET))
    if found.why_not or found.known is None:
        return
    percent = found.known.percent
    found.shares = [
        Share(
            group=share.group,
            wanted=share.wanted,
            kg=kilos_needed([share.wanted], percent, found.loss),
        )
        for share in found.shares
    ]
    wanted, step = [share.wanted for share in found.shares], figures["cut_step"]
    found.needed_kg = kilos_needed(wanted, percent, found.loss)
    found.cut_kg = kilos_to_cut(found.needed_kg, Decimal(0), step)
    found.lying = lying(found.day, found.at, clock_of(figures["fence_hour"]))
    found.less_kg = kilos_to_cut(found.needed_kg, found.lying_kg, step)
    found.wagon_kg = figures.get("wagon")
    if found.wagon_kg is None:
        found.why_not.append(_(NO_WAGON))
    else:
        found.loads = wagons(found.cut_kg, found.wagon_kg, figures["trip_least"], step)


def lying(day: date, at: datetime, fence_hour: time) -> list[Lying]:
    """Open loads that are still within their window when the day's grass is at the fence.

    ``fence_hour``: by then, on the estate's clock; what is good until later can be fed that day.
    """
    fence = datetime.combine(day, fence_hour, tzinfo=estate_zone())
    loads = (
        ForageBatch.objects.open()
        .filter(happened_at__lte=at, deadline__gt=fence)
        .with_left(at)
        .select_related("field")
        .order_by("deadline", "pk")
    )
    return [Lying(batch=batch, left_kg=batch.left_kg) for batch in loads if batch.left_kg > 0]


def put_fields(found: Plan, cover_most: Decimal) -> None:
    """The fields free on that day, what stands too long first, then the longest uncut."""
    every = stands(found.at, found.day)
    free = [
        Growing(stand=one, too_long=stands_too_long(one, cover_most))
        for one in every
        if one.is_free
    ]
    found.fields = sorted(free, key=lambda one: not one.too_long)
    found.waiting = [one for one in every if not one.is_free]
    if found.cut_kg and found.known is not None:
        free_now = (one.stand for one in found.fields)
        found.mown = allot(found.cut_kg, found.known.percent, free_now)


def stands_too_long(one: Stand, cover_most: Decimal) -> bool:
    """Whether a walk found more than shall stand there, and some of it was not cut since."""
    uncut = one.standing_kg is None or one.standing_kg > 0
    return one.walk is not None and one.walk.cover >= cover_most and uncut


def allot(kg: Decimal, percent: Decimal, free: Iterable[Stand]) -> list[Mown]:
    """Which field gives how many fresh kilos of so much dry matter, in order, as walks tell."""
    left, found = kg, []
    for one in free:
        if left > 0 and one.standing_kg and one.walk is not None:
            taken = min(left, one.standing_kg)
            hectares = taken * percent / 100 / one.walk.cover
            found.append(Mown(stand=one, kg=taken, hectares=hectares))
            left -= taken
    return found
