"""What a wheel may tell anybody: its day, vat, groups and fields, and how old it is. Reads only.

Nothing of people, animals, treatments, tests, buyers or holds is read here, so that none of it can
be shown by mistake. Three statements, and one more for every step of carried-over milk.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from feed.models import Feeding
from milk.below import ancestors
from milk.models import Milking, MilkingPart, Vat, VatLot


@dataclass(frozen=True)
class Story:
    """By vat: the numbers of the groups milked into it, and the fields they were fed from.

    ``supplied``: milk of another farm is in it.
    """

    groups: tuple[int, ...]
    fields: tuple[str, ...]
    supplied: bool

    @property
    def groups_said(self) -> str:
        return ", ".join(map(str, self.groups))


def stories(vats: Collection[Vat], fed_before: timedelta) -> dict[int, Story]:
    """By vat (key), its story; ``fed_before``: how long before a milking feed counts for it."""
    pairs = VatLot.objects.filter(vat__in=vats).values_list("vat_id", "lot_id", "lot__delivery_id")
    lots: dict[int, set[int]] = defaultdict(set)
    supplied = set()
    for number, lot, delivery in pairs:
        lots[number].add(lot)
        if delivery is not None:
            supplied.add(number)
    above = ancestors({lot for of_vat in lots.values() for lot in of_vat})
    milkings = milkings_of({lot for one in above.values() for lot in one})
    fields = fields_before({row for rows in milkings.values() for row in rows}, fed_before)
    told = {}
    for one in vats:
        every = {lot for own in lots[one.pk] for lot in above[own]}
        rows = {row for lot in every for row in milkings.get(lot, ())}
        told[one.pk] = Story(
            tuple(sorted({number for _, number, _ in rows})),
            tuple(sorted({name for row in rows for name in fields.get(row, ())})),
            one.pk in supplied,
        )
    return told


# A milking by what the feed needs of it: the group's key and number, and when it began.
Row = tuple[int, int, datetime]


def milkings_of(lots: Collection[int]) -> Mapping[int, set[Row]]:
    """By lot (key), the milkings of groups that ran into it."""
    found: dict[int, set[Row]] = defaultdict(set)
    parts = MilkingPart.objects.filter(lot_id__in=lots).values_list("lot_id", "milking_id")
    by_milking: dict[int, set[int]] = defaultdict(set)
    for lot, milking in parts:
        by_milking[milking].add(lot)
    rows = Milking.objects.filter(pk__in=by_milking).values_list(
        "pk", "group_id", "group__number", "happened_at"
    )
    for milking, group, number, at in rows:
        for lot in by_milking[milking]:
            found[lot].add((group, number, at))
    return found


def fields_before(milkings: Collection[Row], before: timedelta) -> dict[Row, set[str]]:
    """By milking, the fields whose grass its group was fed in the hours before."""
    if not milkings:
        return {}
    first = min(at for _, _, at in milkings) - before
    last = max(at for _, _, at in milkings)
    feedings = Feeding.objects.standing().filter(
        group_id__in={group for group, _, _ in milkings},
        happened_at__range=(first, last),
        batch__isnull=False,
    )
    fed: dict[int, list[tuple[datetime, str]]] = defaultdict(list)
    for group, at, name in feedings.values_list("group_id", "happened_at", "batch__field__name"):
        fed[group].append((at, name))
    return {
        row: {name for at, name in fed[row[0]] if row[2] - before <= at <= row[2]}
        for row in milkings
    }
