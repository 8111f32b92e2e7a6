"""Feeds a scheme forbids or warns of. Pure: rules and a feed in, the rules it breaks out."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

# Feed kept so counts as silage: its spores go on coming with the milk after the last feeding.
SILAGE = ("fermented", "additive")


@dataclass(frozen=True, kw_only=True)
class Feed:
    """A feed as a scheme sees it; water in % of the fresh weight, aflatoxin B1 in µg a kg.

    ``kept``: "dry", "fermented", "additive", "soaked" or "wet". None: not measured.
    """

    kind: str
    name: str
    kept: str
    water: Decimal | None = None
    aflatoxin: Decimal | None = None


@dataclass(frozen=True, kw_only=True)
class Forbidden:
    """A rule of a scheme; every condition given must be met, an empty one is met by all.

    ``words``: parts of the name, one is enough. ``refuse``: else it only warns.
    """

    name: str
    scheme: str
    refuse: bool
    valid_from: date
    valid_to: date | None = None
    kind: str = ""
    kept: str = ""
    words: tuple[str, ...] = ()
    water_above: Decimal | None = None
    aflatoxin_above: Decimal | None = None

    def meets(self, feed: Feed, on: date) -> bool:
        """Whether the rule is about this feed on this day.

        A limit that was not measured is not broken: that is a question, not a refusal.
        """
        name = feed.name.casefold()
        return (
            self.valid_from <= on
            and (self.valid_to is None or on <= self.valid_to)
            and self.kind in ("", feed.kind)
            and self.kept in ("", feed.kept)
            and (not self.words or any(word.casefold() in name for word in self.words))
            and over(feed.water, self.water_above)
            and over(feed.aflatoxin, self.aflatoxin_above)
        )


def cheese_again(last_fed: date, wait: int) -> date:
    """The first day whose milk may go into cheese again, ``wait`` days after the last silage."""
    return last_fed + timedelta(days=wait)


def over(found: Decimal | None, limit: Decimal | None) -> bool:
    """Whether a value lies above a limit; the limit itself does not, no limit is met by all."""
    return limit is None or (found is not None and found > limit)


def broken(feed: Feed, rules: Iterable[Forbidden], on: date) -> list[Forbidden]:
    """The rules a feed breaks on a day, those that refuse first."""
    met = [rule for rule in rules if rule.meets(feed, on)]
    return sorted(met, key=lambda rule: not rule.refuse)
