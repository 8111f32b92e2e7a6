"""The shares the feed must keep, over a group's day, a day or a year, and what would mend them."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from config.templatetags.sheet import amount
from feed.fed import Portion, daily
from feed.models import FeedShareRule
from feed.ration import PARTS, WHOLES, Bounds, Mend, Offered, mends, share_of


@dataclass(frozen=True, kw_only=True)
class Kept:
    """A rule, the share by it (None: nothing of its whole was fed), and what would mend it."""

    rule: FeedShareRule
    value: Decimal | None
    mends: list[Mend]

    @property
    def keeps(self) -> bool:
        return self.value is None or self.rule.keeps(self.value)

    @property
    def shown(self) -> str:
        """The share as it is shown: cut off, so that 74.96 does not read as the 75.0 it is not.

        A share that is too high is rounded up, for the same reason.
        """
        if self.value is None:
            return ""
        most = self.rule.at_most
        way = ROUND_CEILING if most is not None and self.value > most else ROUND_FLOOR
        places = Decimal("0.01") if self.rule.unit == FeedShareRule.Unit.RATIO else Decimal("0.1")
        return f"{self.value.quantize(places, way)}"

    @property
    def unit(self) -> str:
        return "to 1" if self.rule.unit == FeedShareRule.Unit.RATIO else "%"

    @property
    def bound_words(self) -> str:
        """The bounds in words, "at least 50"."""
        rule = self.rule
        least = "" if rule.at_least is None else f"at least {amount(rule.at_least)}"
        most = "" if rule.at_most is None else f"at most {amount(rule.at_most)}"
        return ", ".join(filter(None, (least, most)))

    @property
    def mend_words(self) -> str:
        """What would mend it in one line: "at most 6,108 kg grass, or add 134 kg hay"."""
        return ", or ".join(mend_said(way) for way in self.mends)


def mend_said(way: Mend) -> str:
    """One way of mending, in words."""
    return " ".join(filter(None, (way.act, f"{amount(way.kg)} kg", way.whose, way.kind)))


def rules_on(day: date, *over: str) -> list[FeedShareRule]:
    """The newest rule of each name and scheme in force on a day, those that can be computed."""
    rules = (
        FeedShareRule.objects.standing()
        .filter(valid_from__lte=day)
        .filter(kind__in=PARTS, of__in=WHOLES)
        .order_by("name", "scheme", "-valid_from")
        .distinct("name", "scheme")
    )
    return [rule for rule in rules if not over or rule.over in over]


def not_computed(day: date) -> list[FeedShareRule]:
    """Rules in force whose words name no part of a ration known here; people count these."""
    rules = FeedShareRule.objects.standing().filter(valid_from__lte=day)
    unknown = rules.exclude(kind__in=PARTS, of__in=WHOLES)
    return list(unknown.order_by("name", "scheme", "-valid_from").distinct("name", "scheme"))


def bounds_of(rule: FeedShareRule) -> Bounds:
    """A rule as the arithmetic takes it."""
    return Bounds(
        part=rule.kind,
        whole=rule.of,
        at_least=rule.at_least,
        at_most=rule.at_most,
        ratio=rule.unit == FeedShareRule.Unit.RATIO,
    )


def kept(
    rule: FeedShareRule, offered: Sequence[Offered], stored: dict[str, Decimal] | None = None
) -> Kept:
    """How a ration stands against a rule."""
    bounds = bounds_of(rule)
    return Kept(rule=rule, value=share_of(offered, bounds), mends=mends(offered, bounds, stored))


def summed(offered: Iterable[Offered]) -> list[Offered]:
    """Feeds of one kind and origin as one, with the dry matter of the mixture."""
    sums: dict[tuple[str, bool, bool], list[Decimal]] = defaultdict(lambda: [Decimal(0)] * 2)
    for feed in offered:
        both = sums[feed.kind, feed.own, feed.district]
        both[0] += feed.kg
        both[1] += feed.dry_matter_kg
    return [
        Offered(kind, kg, dry / kg * 100, own=own, district=district)
        for (kind, own, district), (kg, dry) in sums.items()
    ]


@dataclass
class Span:
    """The feed of a span: of all groups, by month, by group, and the days on which a rule broke.

    ``unmeasured_kg``: fed without a dry matter, counted nowhere. ``assumed_kg``: fed with the dry
    matter of another load.
    """

    first: date
    last: date
    whole: list[Kept] = field(default_factory=list)
    months: list[tuple[date, list[Kept]]] = field(default_factory=list)
    groups: list[tuple[int, list[Kept]]] = field(default_factory=list)
    broken: list[tuple[FeedShareRule, int, int]] = field(default_factory=list)
    unmeasured_kg: Decimal = Decimal(0)
    assumed_kg: Decimal = Decimal(0)
    dry_matter_kg: Decimal = Decimal(0)
    by_kind: list[tuple[str, Decimal]] = field(default_factory=list)


def year(first: date, last: date) -> Span:
    """The shares of the days first to last, by the rules in force on the last one.

    Eight statements at most, however many groups and days.
    """
    span = Span(first, last)
    fed = daily(first, last)
    rules = rules_on(last)
    of_day: dict[tuple[int, date], list[Offered]] = defaultdict(list)
    for portion in fed:
        of_day[portion.group, portion.day].extend(portion.offered)
        if portion.known is None:
            span.unmeasured_kg += portion.kg
        elif portion.assumed:
            span.assumed_kg += portion.kg
    sums = {key: summed(offered) for key, offered in of_day.items()}
    over_year = [rule for rule in rules if rule.over == FeedShareRule.Over.YEAR]
    whole = summed(feed for offered in sums.values() for feed in offered)
    span.whole = [kept(rule, whole) for rule in over_year]
    span.months = by_month(sums, over_year)
    span.groups = by_group(sums, over_year)
    span.broken = days_broken(sums, rules)
    span.dry_matter_kg = sum((feed.dry_matter_kg for feed in whole), Decimal(0))
    span.by_kind = kinds_of(whole)
    return span


Sums = dict[tuple[int, date], list[Offered]]


def by_month(sums: Sums, rules: list[FeedShareRule]) -> list[tuple[date, list[Kept]]]:
    """The shares of each month by themselves; the rule counts the year."""
    months: dict[date, list[Offered]] = defaultdict(list)
    for (_, day), offered in sums.items():
        months[day.replace(day=1)].extend(offered)
    return [
        (month, [kept(rule, summed(months[month])) for rule in rules]) for month in sorted(months)
    ]


def by_group(sums: Sums, rules: list[FeedShareRule]) -> list[tuple[int, list[Kept]]]:
    """The shares of each group (key) by itself."""
    groups: dict[int, list[Offered]] = defaultdict(list)
    for (group, _), offered in sums.items():
        groups[group].extend(offered)
    return [
        (group, [kept(rule, summed(offered)) for rule in rules])
        for group, offered in groups.items()
    ]


def days_broken(sums: Sums, rules: list[FeedShareRule]) -> list[tuple[FeedShareRule, int, int]]:
    """(rule, times it broke, times it was counted) of each rule for a day or a group's day."""
    days: dict[date, list[Offered]] = defaultdict(list)
    for (_, day), offered in sums.items():
        days[day].extend(offered)
    found = []
    for rule in rules:
        if rule.over == FeedShareRule.Over.YEAR:
            continue
        counted = sums.values() if rule.over == FeedShareRule.Over.GROUP else days.values()
        bounds = bounds_of(rule)
        values = [share_of(offered, bounds) for offered in counted]
        told = [value for value in values if value is not None]
        found.append((rule, sum(not rule.keeps(value) for value in told), len(told)))
    return found


def kinds_of(offered: Iterable[Offered]) -> list[tuple[str, Decimal]]:
    """kg of dry matter by kind of feed, the most first."""
    found: dict[str, Decimal] = defaultdict(Decimal)
    for feed in offered:
        found[feed.kind] += feed.dry_matter_kg
    return sorted(found.items(), key=lambda each: -each[1])


def stored_now(fed: Iterable[Portion]) -> dict[str, Decimal]:
    """Dry matter in % of the feeds lately fed, by kind: what could be added tomorrow."""
    return {feed.kind: feed.dry_matter for portion in fed for feed in portion.offered}
