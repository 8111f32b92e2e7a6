"""The herd as its udders stand at a moment: who moved where, whose milk is in which tank.

Read once for a page; everything else is said of it in memory.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from enum import StrEnum
from functools import cached_property

from django.utils.translation import gettext_noop as N_

from config.days import local_day
from herd.models import Group
from herd.tank_share import InTank, tank_cells
from herd.udder import Move, Moved, Rules, Sampled, Share, days_in_milk, move_of, moved
from herd.udder_reads import Recorded, calvings_of, lines_on, recordings, samples_of
from herd.udder_rules import udder_rules
from herd.udder_scores import at_the_aim, linear_score
from herd.withheld import Answer, withheld_list

# Recordings told on the board: thirteen months, so that last year's stands beside this one.
TOLD = timedelta(days=400)
# Milk of these groups goes into the line of their milking time; the hospital's is kept apart.
GOES_TO_TANK = (Group.Use.FRESH, Group.Use.MILKING)


class Missing(StrEnum):
    """Why a cow has no valid test of a recording."""

    CALVED_SINCE = N_("calved since the recording")
    TOO_FRESH = N_("tested too soon after calving")
    OLDER = N_("not tested this time, has an older count")
    NO_COUNT = N_("tested, but nothing counted")
    NEVER = N_("no test in the book")


@dataclass(frozen=True)
class Cow:
    """A cow that is milked, her latest tests (newest first) and calvings by then."""

    answer: Answer
    tests: Sequence[Sampled]
    calvings: Sequence[date]
    move: Move | None

    @property
    def name(self) -> str:
        return self.answer.name

    def days(self, on: date) -> int | None:
        """Days in milk on a day; None when no calving is known."""
        return days_in_milk(on, self.calvings)

    @cached_property
    def now(self) -> Sampled | None:
        """Her latest test of this lactation with kg and cells; None without one."""
        calved = max(self.calvings, default=None)
        for test in self.tests:
            if calved is not None and test.on < calved:
                return None
            if test.kg is not None and test.cells is not None:
                return test
        return None

    @property
    def score(self) -> float | None:
        """Linear score of the count she moved with."""
        return None if self.move is None else linear_score(self.move.now.cells)

    def why_missing(self, recorded: Recorded) -> Missing:
        """Why she has no valid test of a recording."""
        if self.calvings and max(self.calvings) > recorded.last:
            return Missing.CALVED_SINCE
        counted = [test.on for test in self.tests if test.cells is not None]
        if counted and counted[0] >= recorded.first:
            return Missing.TOO_FRESH
        if counted:
            return Missing.OLDER
        return Missing.NO_COUNT if self.tests else Missing.NEVER


@dataclass(frozen=True, kw_only=True)
class TankNow:
    """The cows whose milk goes into a line now, by their latest recording.

    ``missing``: those without kg and cells of this lactation; ``older``: those whose test is older
    than the herd's recording.
    """

    line: str
    cows: tuple[InTank, ...]
    missing: tuple[Answer, ...]
    older: int
    oldest: date | None

    @property
    def kg(self) -> Decimal:
        """kg a day of the cows that were recorded."""
        return sum((cow.kg for cow in self.cows), Decimal(0))

    @cached_property
    def cells(self) -> Decimal | None:
        """Computed count, thousand per ml, weighed by milk; None without a recorded cow."""
        return tank_cells(self.cows)


@dataclass(frozen=True, kw_only=True)
class HerdNow:
    """Every cow that is milked at a moment, the recordings before it, and the rules of its day."""

    at: datetime
    rules: Rules
    recordings: Sequence[Recorded]
    cows: Sequence[Cow]
    lines: dict[int, set[str]]

    @property
    def latest(self) -> Recorded | None:
        """The herd's last recording; None when there is none in thirteen months."""
        return self.recordings[-1] if self.recordings else None

    @property
    def age(self) -> int | None:
        """Days since the last day of that recording."""
        return None if self.latest is None else (local_day(self.at) - self.latest.last).days

    @property
    def is_old(self) -> bool:
        """Whether lists made from it are too old to go by; without a recording they are."""
        return self.age is None or self.age > self.rules.too_old

    @cached_property
    def moved(self) -> Moved:
        """The sums of the last recording's movement."""
        return moved([cow.move for cow in self.cows if cow.move is not None])

    @cached_property
    def at_the_aim(self) -> Share:
        """The cows whose score is in the aim's class or below."""
        return at_the_aim([cow.move for cow in self.cows if cow.move is not None], self.rules)

    @cached_property
    def missing(self) -> list[tuple[Cow, Missing]]:
        """Cows in milk without a valid test of the last recording, and why."""
        latest = self.latest
        if latest is None:
            return []
        return [(cow, cow.why_missing(latest)) for cow in self.cows if cow.move is None]

    @cached_property
    def missing_reasons(self) -> list[tuple[Missing, int]]:
        """The reasons of the missing ones, the commonest first."""
        return Counter(why for _, why in self.missing).most_common()

    @cached_property
    def tanks(self) -> list[TankNow]:
        """Every line that milk goes into now, by name."""
        names = sorted({line for cow in self.in_tanks for line in self.lines_of(cow)})
        return [self.tank(name) for name in names]

    @cached_property
    def in_tanks(self) -> list[Cow]:
        """The cows whose milk goes into a tank now: TANK, and in a group milked into one."""
        return [
            cow
            for cow in self.cows
            if not cow.answer.withheld and cow.answer.use in GOES_TO_TANK and self.lines_of(cow)
        ]

    def lines_of(self, cow: Cow) -> set[str]:
        """The lines of her group, morning and evening."""
        return self.lines.get(cow.answer.group_id, set())

    def tank(self, line: str) -> TankNow:
        """One line's cows; none when no milk goes there."""
        recorded: list[InTank] = []
        missing: list[Answer] = []
        days: list[date] = []
        for cow in self.in_tanks:
            if line not in self.lines_of(cow):
                continue
            test = cow.now
            if test is None or test.kg is None or test.cells is None:
                missing.append(cow.answer)
                continue
            days.append(test.on)
            recorded.append(
                InTank(cow=cow.answer.animal_id, name=cow.name, kg=test.kg, cells=test.cells)
            )
        first = self.latest.first if self.latest else None
        return TankNow(
            line=line,
            cows=tuple(recorded),
            missing=tuple(missing),
            older=sum(first is not None and day < first for day in days),
            oldest=min(days, default=None),
        )

    def answers(self) -> dict[int, Answer]:
        """The answers of the cows by animal (id)."""
        return {cow.answer.animal_id: cow.answer for cow in self.cows}


def herd_now(at: datetime) -> HerdNow:
    """The herd at a moment: ten statements for any number of cows. Conflict without rules."""
    day = local_day(at)
    rules = udder_rules(day)
    found = recordings(at, at - TOLD, rules)
    milked = [answer for answer in withheld_list(at) if answer.is_milked]
    return HerdNow(
        at=at,
        rules=rules,
        recordings=found,
        cows=cows_of(milked, at, found[-1].last if found else None, rules),
        lines=lines_on(day),
    )


def cows_of(
    answers: Iterable[Answer], at: datetime, recorded: date | None, rules: Rules
) -> list[Cow]:
    """The cows behind answers, with their tests, calvings and movement at a recording."""
    answers = list(answers)
    animals = [answer.animal_id for answer in answers]
    tests, calvings = samples_of(animals, at), calvings_of(animals, at)
    cows = []
    for answer in answers:
        own, calved = tests.get(answer.animal_id, []), calvings.get(answer.animal_id, [])
        move = None if recorded is None else move_of(own, calved, recorded, rules)
        cows.append(Cow(answer, own, calved, move))
    return cows
