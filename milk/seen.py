"""What the meters know of a group's milking, for a cow there whom nobody can name."""

from collections import defaultdict
from collections.abc import Collection
from datetime import datetime, timedelta
from decimal import Decimal

from config.asking import ask
from herd.models import Group
from herd.seen import Milked, Seen, register
from milk.models import CowMilking, Milking

# A moment belongs to the milking that began nearest to it; two of a day lie further apart.
NEAR = timedelta(hours=6)
LAST, LATELY = 3, timedelta(days=3)
# Two thousand cows have twelve thousand rows in these days: added up where they lie, of all of them
# (asked for by animal, the server looks each of them up at each milking).
OF_DAY = """
    SELECT animal_id, last, sum(grams)
    FROM (
        SELECT c.animal_id, m.happened_at, c.grams,
            max(m.happened_at) OVER (PARTITION BY c.animal_id) AS last
        FROM milk_milking AS m
        JOIN milk_cowmilking AS c ON c.milking_id = m.id
        WHERE m.struck_at IS NULL AND c.grams IS NOT NULL
            AND m.happened_at >= %(since)s::timestamptz AND m.happened_at <= %(at)s::timestamptz
        ) AS lately
    WHERE happened_at > last - interval '24 hours'
    GROUP BY animal_id, last
    HAVING count(*) > 1
"""


class RowsOfMeters:
    """The meter rows. A row without a weight may be one that a person wrote, and proves nothing."""

    def seen(self, group: Group, at: datetime) -> Seen:
        """Who was read at the milking of a group nearest to a moment, all its lines together."""
        near = list(
            Milking.objects.standing().filter(
                group=group, metered=True, happened_at__range=(at - NEAR, at + NEAR)
            )
        )
        if not near:
            return Seen()
        closest = min(near, key=lambda one: abs(one.happened_at - at))
        milking = (closest.day, closest.session)
        lines = [one.pk for one in near if (one.day, one.session) == milking]
        read = CowMilking.objects.filter(milking__in=lines, grams__isnull=False)
        return Seen(str(closest), frozenset(read.values_list("animal_id", flat=True)))

    def last(self, animals: Collection[int], at: datetime) -> dict[int, list[Milked]]:
        """The last milkings of animals at the meter, newest first, of the last few days."""
        rows = CowMilking.objects.filter(
            animal__in=animals,
            grams__isnull=False,
            milking__struck_at=None,
            milking__happened_at__range=(at - LATELY, at),
        ).order_by("-milking__happened_at")
        found: dict[int, list[Milked]] = defaultdict(list)
        for animal, milked, grams in rows.values_list("animal_id", "milking__happened_at", "grams"):
            if grams is not None and len(found[animal]) < LAST:
                found[animal].append(Milked(milked, Decimal(grams) / 1000))
        return dict(found)

    def of_day(self, animals: Collection[int], at: datetime) -> dict[int, Milked]:
        """The milk of the 24 hours up to the last milking of each; a row counts as it was read."""
        wanted = frozenset(animals)
        return {
            animal: Milked(last, Decimal(grams) / 1000)
            for animal, last, grams in ask(OF_DAY, {"since": at - LATELY, "at": at})
            if animal in wanted
        }


register(RowsOfMeters())
