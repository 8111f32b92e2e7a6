"""Dry matter offered, refused and eaten; the shares of a ration and what would mend them. Pure.

Values in, values out. Masses in kg of fresh weight, dry matter in per cent of it, shares in per
cent. What mends a rule is rounded so that the rule holds: kilos to add up, kilos to keep down.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Decimal

from config.saying import N_

FORAGE = ("grass", "hay")
MEAL = ("meal",)
ZERO, HUNDRED = Decimal(0), Decimal(100)
# Feed is told in whole kilos; half a kilo more or less is not on any wagon's scale.
KILO = Decimal(1)
# A share that is 75 must not be missed because a mean of dry matters has no end.
EXACT = Decimal("1e-12")


@dataclass(frozen=True)
class Offered:
    """One feed put before a group: kind ("grass", "hay", "meal" ...), kg, dry matter in %.

    ``own``: grown on the estate's own land; ``district``: in the district of its scheme. A feed
    grown on own land in part is two of these. ``cows``: heads in the group at the hour it was fed.
    """

    kind: str
    kg: Decimal
    dry_matter: Decimal
    own: bool = False
    cows: int | None = None
    district: bool = False

    @property
    def dry_matter_kg(self) -> Decimal:
        return dry_matter_kg(self.kg, self.dry_matter)


@dataclass(frozen=True)
class Part:
    """A part of the ration that a share counts: these kinds (None: all), from anywhere or not."""

    kinds: tuple[str, ...] | None
    own: bool = False
    district: bool = False

    def holds(self, feed: Offered) -> bool:
        """Whether a feed belongs to it."""
        return (
            (self.kinds is None or feed.kind in self.kinds)
            and (feed.own or not self.own)
            and (feed.district or not self.district)
        )


# What to do, and whose feed, when a share is mended.
AT_MOST, ADD = N_("at most"), N_("add")
OWN, BOUGHT = N_("own"), N_("bought")
EVERY = Part(None)
# What the words of a share rule count. Roughage of a hay-milk scheme: grass and hay.
PARTS = {
    "grass": Part(("grass",)),
    "hay": Part(("hay",)),
    "meal": Part(MEAL),
    "forage": Part(FORAGE),
    "roughage": Part(FORAGE),
    "forage of the estate": Part(FORAGE, own=True),
    "forage of the district": Part(FORAGE, district=True),
    "feed of the estate": Part(None, own=True),
}
WHOLES = {
    "dry matter": EVERY,
    "forage dry matter": Part(FORAGE),
    "forage and meal dry matter": Part((*FORAGE, *MEAL)),
    "meal dry matter": Part(MEAL),
}


@dataclass(frozen=True, kw_only=True)
class Bounds:
    """A share rule: ``part`` of ``whole`` (keys of PARTS, WHOLES), least and most in per cent.

    ``ratio``: kg of the part for a kg of the whole instead (forage to meal).
    """

    part: str
    whole: str
    at_least: Decimal | None = None
    at_most: Decimal | None = None
    ratio: bool = False

    def keeps(self, percent: Decimal) -> bool:
        """Whether a share lies within; its bounds themselves do."""
        least, most = self.at_least, self.at_most
        return (least is None or percent >= least) and (most is None or percent <= most)


@dataclass(frozen=True, kw_only=True)
class Mend:
    """One way to keep a share: ``act`` "at most" so many kg of a kind, or "add" so many kg.

    ``whose``: "own" or "bought" where the rule asks which land it grew on, else "".
    """

    act: str
    kind: str
    kg: Decimal
    whose: str = ""


@dataclass(frozen=True, kw_only=True)
class Short:
    """Dry matter missing because the feed holds less of it than before."""

    kg: Decimal
    cows: Decimal

    @property
    def per_cow(self) -> Decimal:
        return self.kg / self.cows


def dry_matter_kg(kg: Decimal, dry_matter: Decimal) -> Decimal:
    """Kilos of dry matter in ``kg`` of feed with ``dry_matter`` per cent."""
    return kg * dry_matter / 100


def total(offered: Iterable[Offered], kinds: Iterable[str] | None = None) -> Decimal:
    """Kilos of dry matter of the feeds of these kinds, of all when none are named."""
    return in_part(offered, Part(None if kinds is None else tuple(kinds)))


def in_part(offered: Iterable[Offered], part: Part) -> Decimal:
    """Kilos of dry matter of the feeds that belong to a part."""
    return sum((feed.dry_matter_kg for feed in offered if part.holds(feed)), ZERO)


def mean_dry_matter(offered: Sequence[Offered], kinds: Iterable[str] | None = None) -> Decimal:
    """Dry matter of the mixed feeds of these kinds in per cent. Raises ZeroDivisionError."""
    wanted = Part(None if kinds is None else tuple(kinds))
    kg = sum((feed.kg for feed in offered if wanted.holds(feed)), ZERO)
    if not kg:
        raise ZeroDivisionError("nothing was offered")
    return in_part(offered, wanted) / kg * 100


def refused_share(offered: Decimal, refused: Decimal) -> Decimal:
    """Refusals in per cent of what was offered. Raises ZeroDivisionError when nothing was."""
    if not offered:
        raise ZeroDivisionError("nothing was offered")
    return refused / offered * 100


def intake(
    offered: Sequence[Offered], refused: Iterable[tuple[Decimal, Decimal]], cow_days: Decimal
) -> Decimal:
    """Kilos of dry matter eaten per cow and day.

    ``refused``: (kg, dry matter in %) of what was left. ``cow_days``: cows fed, times days.
    """
    left = sum((dry_matter_kg(kg, percent) for kg, percent in refused), ZERO)
    return (total(offered) - left) / cow_days


def cows_fed(offered: Iterable[Offered]) -> Decimal | None:
    """Cows the feed was shared by: heads at each hour of feeding, weighed by its dry matter.

    So chosen that dry matter over cows is the sum of what a cow got at each feeding. A feeding with
    nobody there, or of unknown heads, is left out; None when none is left.
    """
    counted = [feed for feed in offered if feed.cows and feed.dry_matter_kg]
    a_cow = sum((feed.dry_matter_kg / feed.cows for feed in counted if feed.cows), ZERO)
    return total(counted) / a_cow if a_cow else None


def share(offered: Sequence[Offered], kinds: Iterable[str], of: Iterable[str]) -> Decimal:
    """Dry matter of ``kinds`` in per cent of that of ``of``; 0 when there is none of these."""
    whole = total(offered, of)
    return total(offered, kinds) / whole * 100 if whole else ZERO


def share_of(offered: Sequence[Offered], bounds: Bounds) -> Decimal | None:
    """The share, or ratio, a rule counts; None when there is nothing of its whole."""
    inside, outside = sides(offered, bounds)
    part, rest = in_part(inside, EVERY), in_part(outside, EVERY)
    whole = rest if bounds.ratio else part + rest
    if not whole:
        return None
    value = part / whole if bounds.ratio else part / whole * 100
    return value.quantize(EXACT)


def sides(offered: Sequence[Offered], bounds: Bounds) -> tuple[list[Offered], list[Offered]]:
    """The feeds a rule counts, and those it counts them against."""
    whole, part = WHOLES[bounds.whole], PARTS[bounds.part]
    if bounds.ratio:
        inside = [feed for feed in offered if part.holds(feed)]
        outside = [feed for feed in offered if whole.holds(feed) and not part.holds(feed)]
        return inside, outside
    counted = [feed for feed in offered if whole.holds(feed)]
    inside = [feed for feed in counted if part.holds(feed)]
    return inside, [feed for feed in counted if not part.holds(feed)]


def forage_to_meal(offered: Sequence[Offered]) -> Decimal | None:
    """Dry matter of forage per kg of that of meal; None without meal."""
    meal = total(offered, MEAL)
    return total(offered, FORAGE) / meal if meal else None


def short(kg: Decimal, before: Decimal, now: Decimal, cows: Decimal) -> Short | None:
    """What is missing when ``kg`` of grass went from ``before`` to ``now`` % of dry matter.

    None when nothing is: rain in the grass shows on no scale.
    """
    missing = dry_matter_kg(kg, before - now)
    return Short(kg=missing, cows=cows) if missing > 0 else None


def kilos_for(dry_matter: Decimal, percent: Decimal, rounding: str = ROUND_HALF_UP) -> Decimal:
    """Kilos of a feed of ``percent`` dry matter that hold so much dry matter, in whole kilos."""
    return (dry_matter / percent * 100).quantize(KILO, rounding)


def mends(
    offered: Sequence[Offered], bounds: Bounds, stored: Mapping[str, Decimal] | None = None
) -> list[Mend]:
    """What would keep a broken share, each way by itself; empty when it is kept or cannot be.

    ``stored``: dry matter in % of feeds at hand, by kind; those offered count with their own. Less
    of what is too much comes first, then more of what is missing.
    """
    percent = share_of(offered, bounds)
    if percent is None or bounds.keeps(percent):
        return []
    whole, part = WHOLES[bounds.whole], PARTS[bounds.part]
    inside, outside = sides(offered, bounds)
    too_little = bounds.at_least is not None and percent < bounds.at_least
    bound = bounds.at_least if too_little else bounds.at_most
    assert bound is not None
    # So many kg for a kg are a share of both together.
    least = HUNDRED * bound / (1 + bound) if bounds.ratio else bound
    if too_little:
        kinds = {feed.kind for feed in inside} or set(part.kinds or ())
        found = mended(inside, outside, least, at_hand(inside, stored, kinds))
        names = {AT_MOST: BOUGHT, ADD: OWN}
    else:
        kinds = {feed.kind for feed in outside} or set(whole.kinds or ()) - set(part.kinds or ())
        found = mended(outside, inside, HUNDRED - least, at_hand(outside, stored, kinds))
        names = {AT_MOST: OWN, ADD: BOUGHT}
    return [replace(way, whose=names[way.act]) for way in found] if part.own else found


def at_hand(
    feeds: Sequence[Offered], stored: Mapping[str, Decimal] | None, kinds: Iterable[str]
) -> dict[str, Decimal]:
    """Dry matter in % of what could be added, by kind."""
    own = {feed.kind: mean_dry_matter(feeds, [feed.kind]) for feed in feeds if feed.kg}
    return {kind: percent for kind, percent in (stored or {}).items() if kind in kinds} | own


def mended(
    less: Sequence[Offered], more: Sequence[Offered], least: Decimal, addable: dict[str, Decimal]
) -> list[Mend]:
    """How ``less`` comes to ``least`` % of both: the most of each kind of ``more``, or add."""
    there, beside = in_part(less, EVERY), in_part(more, EVERY)
    found = []
    if least > 0:
        too_much = beside - there * (HUNDRED - least) / least
        for kind in dict.fromkeys(feed.kind for feed in more):
            kept = total(more, [kind]) - too_much
            if kept >= 0:
                most = kilos_for(kept, mean_dry_matter(more, [kind]), ROUND_FLOOR)
                found.append(Mend(act=AT_MOST, kind=kind, kg=most))
    if least < HUNDRED:
        missing = (least * (there + beside) - HUNDRED * there) / (HUNDRED - least)
        for kind, percent in addable.items():
            found.append(Mend(act=ADD, kind=kind, kg=kilos_for(missing, percent, ROUND_CEILING)))
    return found
