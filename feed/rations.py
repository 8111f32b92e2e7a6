"""What each group was offered on a day, left and ate, and whether its shares were kept."""

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import DateTimeField, F, Func, Sum, Value
from django.db.models.functions import Coalesce, Greatest, Least

from feed.days import start_of
from feed.models import Feeding, FeedShareRule, Refusal
from feed.ration import FORAGE, Offered, dry_matter_kg, intake, refused_share, share, total
from herd.models import Group, GroupStay

GRASS = "grass"
# What the words of a share rule count; a rule with other words is shown, but not computed.
COUNTED = {"hay": ("hay",), "grass": (GRASS,), "forage": FORAGE, "roughage": FORAGE}
OUT_OF = {"dry matter": None, "forage dry matter": FORAGE}


@dataclass
class Ration:
    """One group on one day. Masses in kg, shares in per cent.

    ``unmeasured``: feeds and refusals without a dry matter; they count nowhere, so that nothing is
    invented. ``cow_days``: animals that stood in the group, by the hour.
    """

    group: Group
    offered: list[Offered] = field(default_factory=list)
    refused: list[tuple[Decimal, Decimal]] = field(default_factory=list)
    unmeasured: list[str] = field(default_factory=list)
    cow_days: Decimal = Decimal(0)
    shares: list[tuple[FeedShareRule, Decimal, bool]] = field(default_factory=list)

    @property
    def offered_kg(self) -> Decimal:
        """Dry matter offered."""
        return total(self.offered)

    @property
    def refused_kg(self) -> Decimal:
        """Dry matter left."""
        return sum((dry_matter_kg(kg, percent) for kg, percent in self.refused), Decimal(0))

    @property
    def refused_percent(self) -> Decimal | None:
        """Refusals of what was offered; None when nothing measured was offered."""
        return refused_share(self.offered_kg, self.refused_kg) if self.offered_kg else None

    @property
    def per_cow(self) -> Decimal | None:
        """Dry matter eaten per cow and day; None when no animal stood in the group."""
        return intake(self.offered, self.refused, self.cow_days) if self.cow_days else None


def rations(day: date) -> list[Ration]:
    """The rations of every group that was fed on a day, by number. Four statements."""
    start, end = start_of(day), start_of(day + timedelta(days=1))
    found: dict[int, Ration] = {}
    feedings = Feeding.objects.standing().filter(happened_at__gte=start, happened_at__lt=end)
    for feeding in feedings.select_related("group", "batch__field", "feed_lot"):
        ration = found.setdefault(feeding.group_id, Ration(feeding.group))
        thing = feeding.batch or feeding.feed_lot
        if thing.dry_matter is None:
            ration.unmeasured.append(str(thing))
        else:
            kind = GRASS if feeding.batch else feeding.feed_lot.kind
            ration.offered.append(Offered(kind, feeding.kg, thing.dry_matter))
    add_refusals(found, start, end)
    for group, days in cow_days(list(found), start, end).items():
        found[group].cow_days = days
    rules = rules_on(day)
    for ration in found.values():
        ration.shares = [kept(rule, ration) for rule in rules]
    return sorted(found.values(), key=lambda ration: ration.group.number)


def add_refusals(found: dict[int, Ration], start: datetime, end: datetime) -> None:
    """Put what the groups left that day into their rations."""
    refusals = Refusal.objects.standing().filter(happened_at__gte=start, happened_at__lt=end)
    for refusal in refusals.filter(group__in=found):
        ration = found[refusal.group_id]
        if refusal.dry_matter is None:
            ration.unmeasured.append("refusals")
        else:
            ration.refused.append((refusal.kg, refusal.dry_matter))


def cow_days(groups: list[int], start: datetime, end: datetime) -> dict[int, Decimal]:
    """Days that animals stood in groups between two moments, moves counted by the hour."""
    first = Greatest(bound("lower"), Value(start))
    last = Least(Coalesce(bound("upper"), Value(end)), Value(end))
    stays = GroupStay.objects.standing().filter(group__in=groups, during__overlap=(start, end))
    rows = stays.order_by().values_list("group").annotate(stood=Sum(last - first))
    day = Decimal(int((end - start).total_seconds()))
    return {group: Decimal(int(stood.total_seconds())) / day for group, stood in rows}


def bound(end: str) -> Any:
    """The lower or upper end of a stay."""
    return Func(F("during"), function=end, output_field=DateTimeField())


def rules_on(day: date) -> list[FeedShareRule]:
    """The share rules for a group's day in force that can be computed, the newest of each."""
    rules = (
        FeedShareRule.objects.standing()
        .filter(over=FeedShareRule.Over.GROUP, valid_from__lte=day)
        .filter(kind__in=COUNTED, of__in=OUT_OF)
        .order_by("name", "scheme", "-valid_from")
        .distinct("name", "scheme")
    )
    return list(rules)


def kept(rule: FeedShareRule, ration: Ration) -> tuple[FeedShareRule, Decimal, bool]:
    """A rule, the group's share by it, and whether it is kept."""
    every = {feed.kind for feed in ration.offered}
    percent = share(ration.offered, COUNTED[rule.kind], OUT_OF[rule.of] or every)
    return rule, percent, rule.keeps(percent)
