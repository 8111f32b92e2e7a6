"""The shares the feed must keep, over a group's day, a day or a year, and what would mend them."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Any, TypeVar

from django.utils.translation import gettext as _

from config.language import in_readers_form
from config.templatetags.sheet import amount
from feed.fed import Fed, Origin, Portion, Sum, daily
from feed.following import followed
from feed.models import FeedShareRule
from feed.ration import PARTS, WHOLES, Mend, Offered, mends, share_of


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
        return in_readers_form(f"{self.value.quantize(places, way)}")

    @property
    def unit(self) -> str:
        return _("to 1") if self.rule.unit == FeedShareRule.Unit.RATIO else "%"

    @property
    def bound_words(self) -> str:
        """The bounds in words, "at least 50"."""
        rule = self.rule
        least = (
            ""
            if rule.at_least is None
            else _("at least {at_least}").format(at_least=amount(rule.at_least))
        )
        most = (
            ""
            if rule.at_most is None
            else _("at most {at_most}").format(at_most=amount(rule.at_most))
        )
        return ", ".join(filter(None, (least, most)))

    @property
    def mend_words(self) -> str:
        """What would mend it in one line: "at most 6,108 kg grass, or add 134 kg hay"."""
        return _(", or ").join(mend_said(way) for way in self.mends)


def mend_said(way: Mend) -> str:
    """One way of mending, in words."""
    return " ".join(
        filter(None, (_(way.act), f"{amount(way.kg)} kg", way.whose and _(way.whose), _(way.kind)))
    )


def rules_on(day: date, *over: str) -> list[FeedShareRule]:
    """The newest rule of each name in force on a day, those that can be computed.

    Of the schemes the estate follows only.
    """
    rules = (
        followed(FeedShareRule.objects.standing())
        .filter(valid_from__lte=day)
        .filter(kind__in=PARTS, of__in=WHOLES)
        .order_by("name", "scheme", "-valid_from")
        .distinct("name", "scheme")
    )
    return [rule for rule in rules if not over or rule.over in over]


def not_computed(day: date) -> list[FeedShareRule]:
    """Rules in force whose words name no part of a ration known here; people count these."""
    rules = followed(FeedShareRule.objects.standing()).filter(valid_from__lte=day)
    unknown = rules.exclude(kind__in=PARTS, of__in=WHOLES)
    return list(unknown.order_by("name", "scheme", "-valid_from").distinct("name", "scheme"))


def kept(
    rule: FeedShareRule, offered: Sequence[Offered], stored: dict[str, Decimal] | None = None
) -> Kept:
    """How a ration stands against a rule."""
    bounds = rule.bounds
    return Kept(rule=rule, value=share_of(offered, bounds), mends=mends(offered, bounds, stored))


Sums = dict[Origin, Sum]


def summed(parts: Iterable[Sums]) -> Sums:
    """Several sums as one."""
    found: Sums = {}
    for sums in parts:
        for origin, one in sums.items():
            if origin not in found:
                found[origin] = Sum()
            found[origin].add(one.kg, one.dry)
    return found


def offered_of(sums: Sums) -> list[Offered]:
    """Feeds of one kind and origin as one feed, with the dry matter of the mixture."""
    return [
        Offered(kind, one.kg, one.dry / one.kg * 100, own=own, district=district)
        for (kind, own, district), one in sums.items()
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
    fed, rules = daily(first, last), rules_on(last)
    over_year = [rule for rule in rules if rule.over == FeedShareRule.Over.YEAR]
    months, groups, days = by(fed, month_of), by(fed, group_of), by(fed, day_of)
    whole = offered_of(summed(months.values()))
    return Span(
        first,
        last,
        whole=[kept(rule, whole) for rule in over_year],
        months=[(month, all_kept(over_year, months[month])) for month in sorted(months)],
        groups=[(group, all_kept(over_year, sums)) for group, sums in groups.items()],
        broken=[
            broken_of(rule, fed.sums if rule.over == FeedShareRule.Over.GROUP else days)
            for rule in rules
            if rule.over != FeedShareRule.Over.YEAR
        ],
        unmeasured_kg=fed.unmeasured_kg,
        assumed_kg=fed.assumed_kg,
        dry_matter_kg=sum((feed.dry_matter_kg for feed in whole), Decimal(0)),
        by_kind=kinds_of(whole),
    )


Key = TypeVar("Key")
GroupDay = tuple[int, date]


def month_of(key: GroupDay) -> date:
    return key[1].replace(day=1)


def day_of(key: GroupDay) -> date:
    return key[1]


def group_of(key: GroupDay) -> int:
    return key[0]


def by(fed: Fed, key_of: Callable[[GroupDay], Key]) -> dict[Key, Sums]:
    """The sums of groups and days gathered by month, day or group."""
    gathered: dict[Key, list[Sums]] = defaultdict(list)
    for key, sums in fed.sums.items():
        gathered[key_of(key)].append(sums)
    return {key: summed(parts) for key, parts in gathered.items()}


def all_kept(rules: Iterable[FeedShareRule], sums: Sums) -> list[Kept]:
    """How some feed stands against each rule."""
    offered = offered_of(sums)
    return [kept(rule, offered) for rule in rules]


def broken_of(rule: FeedShareRule, counted: Mapping[Any, Sums]) -> tuple[FeedShareRule, int, int]:
    """(rule, times it broke, times it was counted)."""
    bounds = rule.bounds
    values = [share_of(offered_of(sums), bounds) for sums in counted.values()]
    told = [value for value in values if value is not None]
    return rule, sum(not rule.keeps(value) for value in told), len(told)


def kinds_of(offered: Iterable[Offered]) -> list[tuple[str, Decimal]]:
    """kg of dry matter by kind of feed, the most first."""
    found: dict[str, Decimal] = defaultdict(Decimal)
    for feed in offered:
        found[feed.kind] += feed.dry_matter_kg
    return sorted(found.items(), key=lambda each: -each[1])


def stored_now(fed: Iterable[Portion]) -> dict[str, Decimal]:
    """Dry matter in % of the feeds lately fed, by kind: what could be added tomorrow."""
    return {feed.kind: feed.dry_matter for portion in fed for feed in portion.offered}
