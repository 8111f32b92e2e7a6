"""Milk that somebody said at once was milked into a tank by mistake: the hold of that act counts.

So that one mistake makes one hold, the program writes none of its own for the same milk.
"""

from collections import defaultdict
from collections.abc import Collection
from datetime import timedelta

from milk.models import Hold, HoldDecision, MilkLot, WrongCow
from milk.withheld_milk import Row

# The button is pressed at the milking; the next one begins about twelve hours later.
SAME_MILKING = timedelta(hours=6)


def said_at_once(rows: Collection[Row]) -> dict[Row, WrongCow]:
    """Those of the rows for which somebody pressed the button. Two statements."""
    pressed: dict[int, list[WrongCow]] = defaultdict(list)
    animals = {row.animal for row in rows}
    if animals:
        for wrong in WrongCow.objects.standing().filter(animal_id__in=animals):
            pressed[wrong.animal_id].append(wrong)
    if not pressed:
        return {}
    lots = {row.lot for row in rows if row.animal in pressed}
    tanks = dict(MilkLot.objects.filter(pk__in=lots).values_list("pk", "tank_id"))
    found = {}
    for row in rows:
        for wrong in pressed.get(row.animal, ()):
            near = abs(row.at - wrong.happened_at) <= SAME_MILKING
            if near and tanks[row.lot] == wrong.tank_id:
                found[row] = wrong
    return found


def settled_by_people(found: dict[Row, WrongCow]) -> set[Row]:
    """Those whose hold two people have decided about."""
    holds = {wrong.hold_id for wrong in found.values()}
    if not holds:
        return set()
    decided = set(
        Hold.objects.standing()
        .with_outcome()
        .filter(pk__in=holds)
        .exclude(outcome__in=["", HoldDecision.Decision.CAUSE_GONE])
        .values_list("pk", flat=True)
    )
    return {row for row, wrong in found.items() if wrong.hold_id in decided}
