"""The udder board: where the cells are, who makes them, who moved, and what the milk tells."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from functools import cached_property

from config.days import start_of
from herd.fresh_cows import (
    GroupSignal,
    Plates,
    fat_to_protein,
    group_signal,
    is_fat_rich_and_poor,
    is_fresh,
    is_ketosis,
    plates,
)
from herd.tank_share import InTank, shares
from herd.udder import Rules, Sampled, Share
from herd.udder_clinical import Clinical, clinical
from herd.udder_herd import Cow, HerdNow, herd_now
from herd.udder_reads import (
    Ketones,
    Recorded,
    fresh_ratios,
    ketones_between,
    plates_between,
)


@dataclass(frozen=True, kw_only=True)
class ToTest:
    """A fresh cow whose milk says that she should be tested at her side, and what was found."""

    cow: Cow
    days: int
    test: Sampled
    ratio: Decimal
    fat_rich: bool
    tested: Ketones | None


@dataclass(frozen=True, kw_only=True)
class Fresh:
    """Fat to protein of the fresh cows, those to test, and the tests at their side since."""

    cows: int
    signal: GroupSignal
    to_test: Sequence[ToTest]
    ketosis: Share


@dataclass(frozen=True, kw_only=True)
class Board:
    """Everything the board tells, of one moment."""

    herd: HerdNow
    clinical: Clinical
    plates: Plates
    fresh: Fresh

    @property
    def at(self) -> datetime:
        return self.herd.at

    @property
    def rules(self) -> Rules:
        return self.herd.rules

    @cached_property
    def makers(self) -> list[tuple[InTank, str, Decimal]]:
        """The cows with the largest share of their tank's cells: cow, line, per cent of it."""
        found = [
            (cow, tank.line, percent)
            for tank in self.herd.tanks
            for cow, percent in shares(tank.cows)[:MAKERS]
        ]
        return sorted(found, key=lambda row: (-row[2], row[0].name))[:MAKERS]


# So many cows are named on the board; all of them stand in the file.
MAKERS = 10


def board(at: datetime) -> Board:
    """The board at a moment, in a fixed number of statements. Conflict where rules are missing."""
    herd = herd_now(at)
    back = timedelta(days=int(herd.rules.plates_days))
    return Board(
        herd=herd,
        clinical=clinical(at, herd.rules),
        plates=plates(plates_between(at - back, at)),
        fresh=fresh(herd),
    )


def fresh(herd: HerdNow) -> Fresh:
    """The fresh cows of the last recording against those of the one before."""
    if herd.latest is None:
        nothing = group_signal([], [], herd.rules)
        return Fresh(cows=0, signal=nothing, to_test=(), ketosis=Share(0, 0))
    last = herd.recordings[-2] if len(herd.recordings) > 1 else None
    now = fresh_ratios(*span_of(herd.latest), herd.rules)
    before = fresh_ratios(*span_of(last), herd.rules) if last else []
    tested = ketones_between(span_of(herd.latest)[0], herd.at)
    latest_of = {test.animal: test for test in tested}
    said = [is_ketosis(test.value, test.fluid, herd.rules) for test in latest_of.values()]
    known = [answer for answer in said if answer is not None]
    return Fresh(
        cows=len(now),
        signal=group_signal(now, before, herd.rules),
        to_test=to_test(herd, latest_of),
        ketosis=Share(sum(known), len(known)),
    )


def span_of(recorded: Recorded) -> tuple[datetime, datetime]:
    """From the start of a recording's first day to the end of its last, in UTC."""
    return start_of(recorded.first), start_of(recorded.last + timedelta(days=1))


def to_test(herd: HerdNow, tested: dict[int, Ketones]) -> list[ToTest]:
    """The fresh cows of the last recording above the cut, the highest ratio first."""
    assert herd.latest is not None
    found = []
    for cow in herd.cows:
        for test in cow.tests[:1]:
            days = cow.days(test.on)
            ratio = fat_to_protein(test.fat, test.protein)
            if test.on < herd.latest.first or ratio is None or not is_fresh(days, herd.rules):
                continue
            rich = is_fat_rich_and_poor(test.fat, test.protein)
            if days is not None and (ratio > herd.rules.ratio_test or rich):
                found.append(
                    ToTest(
                        cow=cow,
                        days=days,
                        test=test,
                        ratio=ratio,
                        fat_rich=rich,
                        tested=tested.get(cow.answer.animal_id),
                    )
                )
    return sorted(found, key=lambda row: (-row.ratio, row.cow.name))
