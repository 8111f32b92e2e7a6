"""What each group was offered on a day, left and ate, and whether its shares were kept."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db.models import OuterRef, Subquery
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local_day, start_of
from config.templatetags.sheet import amount
from feed.appetites import Appetite, appetites
from feed.fed import GRASS, Portion, portions
from feed.models import Feeding, FeedLot, FeedShareRule, Refusal
from feed.ration import (
    Offered,
    Short,
    cows_fed,
    dry_matter_kg,
    intake,
    kilos_for,
    mean_dry_matter,
    refused_share,
    short,
    total,
)
from feed.schemes import Forbidden, broken
from feed.services.figures import values_on
from feed.services.lots import feed_of, feed_rules
from feed.shares import Kept, kept, rules_on, stored_now
from herd.models import Group

SHORT = N_("-{per_cow} kg DM a cow: add {ways}")


@dataclass(frozen=True)
class Left:
    """What a group left: kg, dry matter in %, and whether that is only what was offered."""

    kg: Decimal
    percent: Decimal
    reckoned: bool = False

    @property
    def dry_matter_kg(self) -> Decimal:
        return dry_matter_kg(self.kg, self.percent)


@dataclass
class Ration:
    """One group on one day. Masses in kg, shares in per cent.

    ``unmeasured``: feeds and refusals without a dry matter; they count nowhere, so that nothing is
    invented. ``assumed``: feeds with the dry matter of another load, in words. ``rain``: what the
    group is short of because its grass holds less than the day before.
    """

    group: Group
    day: date
    offered: list[Offered] = field(default_factory=list)
    refused: list[Left] = field(default_factory=list)
    unmeasured: list[str] = field(default_factory=list)
    assumed: list[str] = field(default_factory=list)
    shares: list[Kept] = field(default_factory=list)
    forbidden: list[tuple[FeedLot, list[Forbidden]]] = field(default_factory=list)
    rain: Short | None = None
    rain_words: str = ""
    appetite: Appetite | None = None

    @property
    def cows(self) -> Decimal | None:
        """Heads at the hours of feeding; None when nobody stood there."""
        return cows_fed(self.offered)

    @property
    def offered_kg(self) -> Decimal:
        """Dry matter offered."""
        return total(self.offered)

    @property
    def refused_kg(self) -> Decimal:
        """Dry matter left."""
        return sum((left.dry_matter_kg for left in self.refused), Decimal(0))

    @property
    def refused_percent(self) -> Decimal | None:
        """Refusals of what was offered; None when nothing measured was, or nothing was cleared."""
        if not self.offered_kg or not self.refused:
            return None
        return refused_share(self.offered_kg, self.refused_kg)

    @property
    def reckoned(self) -> bool:
        """Whether refusals were counted with the dry matter of what was offered."""
        return any(left.reckoned for left in self.refused)

    @property
    def doubts(self) -> list[str]:
        """What is to be known of the expected intake: why there is none, or why to expect less."""
        if self.appetite is None:
            return []
        return [*filter(None, [self.appetite.missing]), *self.appetite.cautions]

    @property
    def per_cow(self) -> Decimal | None:
        """Dry matter eaten per cow; None when no animal stood in the group."""
        if not self.cows:
            return None
        return intake(self.offered, [(one.kg, one.percent) for one in self.refused], self.cows)

    @property
    def water_litres(self) -> float | None:
        """Litres of water a cow by a published equation; None when something is not known."""
        if self.appetite is None or self.per_cow is None:
            return None
        return self.appetite.water_litres(float(self.per_cow))

    @property
    def broken(self) -> list[Kept]:
        return [share for share in self.shares if not share.keeps]


@dataclass(frozen=True, kw_only=True)
class Day:
    """The rations of a day, and the shares that count over all groups of it."""

    day: date
    rations: list[Ration]
    shares: list[Kept]

    @property
    def broken(self) -> list[Kept]:
        return [share for share in self.shares if not share.keeps]


def rations(day: date) -> list[Ration]:
    """The rations of every group that was fed on a day, by number."""
    return ration_day(day).rations


def ration_day(day: date) -> Day:
    """A day's rations with shares, rain, forbidden feeds and expected intake.

    A fixed number of statements, whatever the number of groups and feedings.
    """
    fed = portions(day - timedelta(days=1), day)
    (found,) = rations_of(fed, day, day)
    put_rain(found.rations, fed, day)
    put_forbidden(found.rations, fed, day)
    groups = {ration.group.pk: ration.group for ration in found.rations}
    last = max((portion.at for portion in fed), default=start_of(day))
    expected = appetites(groups.values(), last, fed, day)
    for ration in found.rations:
        ration.appetite = expected.get(ration.group.pk)
    return found


def rations_between(first: date, last: date) -> list[Day]:
    """The rations of the days first to last, without rain, forbidden feeds and expected intake."""
    return rations_of(portions(first, last), first, last)


def rations_of(fed: Sequence[Portion], first: date, last: date) -> list[Day]:
    """The rations of days from their portions, with refusals and shares."""
    wanted = [portion for portion in fed if first <= portion.day <= last]
    groups = Group.objects.in_bulk({portion.group for portion in wanted})
    found: dict[tuple[int, date], Ration] = {}
    for portion in wanted:
        key = portion.group, portion.day
        ration = found.setdefault(key, Ration(groups[portion.group], portion.day))
        ration.offered.extend(portion.offered)
        if portion.known is None:
            ration.unmeasured.append(str(portion.thing))
        elif portion.assumed and portion.assumed not in ration.assumed:
            ration.assumed.append(portion.assumed)
    put_refusals(found, start_of(first), start_of(last + timedelta(days=1)))
    rules = rules_on(last, FeedShareRule.Over.GROUP, FeedShareRule.Over.DAY)
    stored = stored_now(fed)
    days: dict[date, list[Ration]] = defaultdict(list)
    for ration in sorted(found.values(), key=lambda one: one.group.number):
        ration.shares = [
            kept(rule, ration.offered, stored)
            for rule in rules
            if rule.over == FeedShareRule.Over.GROUP
        ]
        days[ration.day].append(ration)
    return [
        Day(day=day, rations=days[day], shares=shares_of(days[day], rules, stored))
        for day in (first + timedelta(days=n) for n in range((last - first).days + 1))
    ]


def shares_of(
    found: Iterable[Ration], rules: Iterable[FeedShareRule], stored: dict[str, Decimal]
) -> list[Kept]:
    """The shares of all groups of a day together."""
    offered = [feed for ration in found for feed in ration.offered]
    return [kept(rule, offered, stored) for rule in rules if rule.over == FeedShareRule.Over.DAY]


def put_refusals(found: dict[tuple[int, date], Ration], start: datetime, end: datetime) -> None:
    """Put what the groups left into the ration of the day they were last fed before.

    The trough is cleared in the morning of what was fed the day before; what is cleared much later
    is of nothing fed. What was left without a dry matter of its own is counted with that of what
    was offered.
    """
    hours = values_on(local_day(start), "cleared_within")["cleared_within"]
    within = timedelta(hours=float(hours))
    last_fed = (
        Feeding.objects.standing()
        .filter(group=OuterRef("group"), happened_at__lte=OuterRef("happened_at"))
        .order_by("-happened_at")
        .values("happened_at")[:1]
    )
    refusals = (
        Refusal.objects.standing()
        .filter(happened_at__gte=start, happened_at__lt=end + within)
        .filter(group__in={group for group, _ in found})
        .annotate(fed_at=Subquery(last_fed))
    )
    for refusal in refusals.order_by("happened_at", "pk"):
        if refusal.fed_at is None or refusal.happened_at - refusal.fed_at > within:
            continue
        ration = found.get((refusal.group_id, local_day(refusal.fed_at)))
        if ration is None:
            continue
        if refusal.dry_matter is not None:
            ration.refused.append(Left(refusal.kg, refusal.dry_matter))
        elif ration.offered:
            percent = mean_dry_matter(ration.offered)
            ration.refused.append(Left(refusal.kg, percent, reckoned=True))
        else:
            ration.unmeasured.append("refusals")


def put_rain(found: Iterable[Ration], fed: Sequence[Portion], day: date) -> None:
    """Say how short a group is because its grass is wetter than the day before, and what to add."""
    least = values_on(day, "short_above")["short_above"]
    before = grass_by_group(fed, day - timedelta(days=1))
    now = grass_by_group(fed, day)
    hay = stored_now(fed).get("hay")
    for ration in found:
        was, today = before.get(ration.group.pk), now.get(ration.group.pk)
        if not was or not today or not ration.cows:
            continue
        percent = mean_dry_matter(today)
        kg = sum((feed.kg for feed in today), Decimal(0))
        missing = short(kg, mean_dry_matter(was), percent, ration.cows)
        if missing is None or missing.per_cow < least:
            continue
        ration.rain, ration.rain_words = missing, rain_said(missing, percent, hay)


def rain_said(missing: Short, grass: Decimal, hay: Decimal | None) -> str:
    """The one line for the feed hand: "-1.8 kg DM a cow: add 1,600 kg grass, or 236 kg hay"."""
    ways = [_("{kilos_for} kg grass").format(kilos_for=amount(kilos_for(missing.kg, grass)))]
    if hay:
        ways.append(_("{kilos_for} kg hay").format(kilos_for=amount(kilos_for(missing.kg, hay))))
    return _(SHORT).format(per_cow=round(missing.per_cow, 1), ways=_(", or ").join(ways))


def grass_by_group(fed: Iterable[Portion], day: date) -> dict[int, list[Offered]]:
    """The fresh grass of a day, by group (key)."""
    found: dict[int, list[Offered]] = defaultdict(list)
    for portion in fed:
        if portion.day == day:
            found[portion.group].extend(feed for feed in portion.offered if feed.kind == GRASS)
    return {group: offered for group, offered in found.items() if offered}


def put_forbidden(found: Iterable[Ration], fed: Iterable[Portion], day: date) -> None:
    """Name what was fed although a scheme forbids it or warns of it."""
    lots: dict[int, dict[int, FeedLot]] = defaultdict(dict)
    for portion in fed:
        if portion.day == day and isinstance(portion.thing, FeedLot):
            lots[portion.group][portion.thing.pk] = portion.thing
    rules = feed_rules() if lots else []
    for ration in found:
        judged = [(lot, broken(feed_of(lot), rules, day)) for lot in lots[ration.group.pk].values()]
        ration.forbidden = [(lot, met) for lot, met in judged if met]
