"""What the milk of fresh cows and the plates of the laboratory say of the group. Pure.

Fat to protein is a signal of the group: published cut-offs catch many healthy cows and miss sick
ones, and one study found the contents of a test day not useful for single cows. So a share is
judged, and single cows are only named to be tested at their side.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from config.saying import N_
from herd.udder import Rules, Share

GROUP_SIGNAL = N_(
    "Fat to protein speaks of the group, not of a cow: above 1.42 it catches 92 % of those in "
    "ketosis and is right about 65 % of the others. Test the cows named at their side; the vet "
    "decides."
)
# Fat above and protein below these together (review of 2021) are named in words, not judged.
FAT_HIGH, PROTEIN_LOW = Decimal(5), Decimal("2.9")
GROWTHS = ("none", "germ", "mixed", "dirty")


def fat_to_protein(fat: Decimal | None, protein: Decimal | None) -> Decimal | None:
    """Fat over protein, both in per cent; None when one was not measured, or protein is 0."""
    return None if fat is None or not protein else fat / protein


def is_fat_rich_and_poor(fat: Decimal | None, protein: Decimal | None) -> bool:
    """Fat above 5 % and protein below 2.9 % together: the sign of ketosis in milk."""
    return fat is not None and protein is not None and fat > FAT_HIGH and protein < PROTEIN_LOW


def is_fresh(days: int | None, rules: Rules) -> bool:
    """Whether a cow is in the days after calving that fat to protein is looked at in."""
    return days is not None and rules.fresh_from <= days <= rules.fresh_until


@dataclass(frozen=True, kw_only=True)
class GroupSignal:
    """How many fresh cows lie on the ketosis side and on the rumen side, now and last time."""

    ketosis: Share
    rumen: Share
    last_ketosis: Share

    def act_on_ketosis(self, rules: Rules) -> bool:
        """More than the share of the rule, or so many times that of the recording before."""
        if self.ketosis.above(rules.ratio_act):
            return True
        now, last = self.ketosis.percent, self.last_ketosis.percent
        return bool(now and last) and now >= rules.ratio_times * last  # type: ignore[operator]

    def act_on_rumen(self, rules: Rules) -> bool:
        """Whether the rumen and the change of grass should be looked at."""
        return self.rumen.above(rules.ratio_rumen_act)


def group_signal(
    ratios: Iterable[Decimal], last_ratios: Iterable[Decimal], rules: Rules
) -> GroupSignal:
    """The signal of fresh cows' ratios at this recording and the one before."""
    now, last = list(ratios), list(last_ratios)
    return GroupSignal(
        ketosis=Share(sum(ratio > rules.ratio_ketosis for ratio in now), len(now)),
        rumen=Share(sum(ratio < rules.ratio_rumen for ratio in now), len(now)),
        last_ketosis=Share(sum(ratio > rules.ratio_ketosis for ratio in last), len(last)),
    )


def is_ketosis(value: Decimal, fluid: str, rules: Rules) -> bool | None:
    """Whether ketones in mmol/l say ketosis; blood and milk have limits of their own.

    None when the fluid is not said: the number alone means nothing.
    """
    limit = {"blood": rules.ketones_blood, "milk": rules.ketones_milk}.get(fluid)
    return None if limit is None else value >= limit


@dataclass(frozen=True, kw_only=True)
class Plate:
    """One sample of a cow or quarter: what grew ("" = not read yet), and the germ."""

    growth: str
    germ: str = ""


@dataclass(frozen=True, kw_only=True)
class Plates:
    """Shares of the samples read; ``germs`` by name, the commonest first."""

    read: int
    waiting: int
    nothing: Share
    mixed: Share
    dirty: Share
    germs: tuple[tuple[str, Share], ...]


def plates(found: Sequence[Plate]) -> Plates:
    """What grew, as shares of all samples that were read. Spelling of a germ: capitals aside."""
    read = [plate for plate in found if plate.growth in GROWTHS]
    counts = Counter(plate.growth for plate in read)
    names: dict[str, str] = {}
    germs: Counter[str] = Counter()
    for plate in read:
        if plate.growth == "germ":
            key = " ".join(plate.germ.casefold().split())
            names.setdefault(key, plate.germ)
            germs[key] += 1
    order = sorted(germs.items(), key=lambda item: (-item[1], item[0]))
    return Plates(
        read=len(read),
        waiting=len(found) - len(read),
        nothing=Share(counts["none"], len(read)),
        mixed=Share(counts["mixed"], len(read)),
        dirty=Share(counts["dirty"], len(read)),
        germs=tuple((names[key], Share(number, len(read))) for key, number in order),
    )
