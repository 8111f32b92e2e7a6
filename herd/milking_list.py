"""Who of a group is NOT at one milking: what counts is what holds at its planned start.

A milking goes on for hours. A cow whose period runs out ten minutes after the start is milked
before or after that, nobody knows, so she stays NOT until the next one.
"""

from dataclasses import dataclass
from datetime import datetime

from config.days import estate_zone
from herd.coming_back import BETWEEN_MILKINGS, coming_back, next_start
from herd.models import Group
from herd.planned import PlannedTime, Stands, planned_starts
from herd.services.withdrawals import times_by_group
from herd.withheld import Answer, withheld_list


@dataclass(frozen=True)
class MilkingList:
    """The animals that stand in a group at ``at``, as they count at its milking.

    ``start``: the planned start of that milking, begun or to come; None without a plan.
    ``answers``: NOT for whoever is withheld at the start or now. ``back``: the animals (ids) whose
    first milking back it is, also while they are still withheld now.
    """

    at: datetime
    start: datetime | None
    answers: list[Answer]
    back: frozenset[int] = frozenset()

    @property
    def has_begun(self) -> bool:
        return self.start is not None and self.start <= self.at


def milking_list(at: datetime, group: Group) -> MilkingList:
    """The list of a group for the milking that goes on at a moment, or comes next."""
    now = withheld_list(at, group=group.number)
    start = milking_at(times_by_group().get(group.pk, ()), at)
    if start is None:
        return MilkingList(at, None, now)
    then = withheld_list(start, animals=[answer.animal_id for answer in now])
    at_start = {answer.animal_id: answer for answer in then}
    merged = [as_at_start(answer, at_start.get(answer.animal_id)) for answer in now]
    # Who was given something after the start is not back, whatever held at the start.
    fresh = {answer.animal_id for answer in now if answer.withheld} if start <= at else set()
    return MilkingList(at, start, merged, frozenset(coming_back(start, then).keys() - fresh))


def as_at_start(now: Answer, start: Answer | None) -> Answer:
    """The answer that counts at a milking: NOT now or at its start is NOT."""
    return start if start is not None and start.withheld and not now.withheld else now


def milking_at(times: tuple[PlannedTime, ...], at: datetime) -> datetime | None:
    """The planned start nearest to a moment: until half-way to the next the last one goes on.

    None when no milking is planned.
    """
    begun: datetime | None = None
    stands = [Stands(at - BETWEEN_MILKINGS, at, times)]
    for start in planned_starts(stands, estate_zone(), at - BETWEEN_MILKINGS):
        begun = start
    coming = next_start(times, at)
    if begun is None or coming is None:
        return coming or begun
    return begun if at - begun < coming - at else coming
