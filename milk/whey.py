"""Of which vats the whey in a can of starter is: the one it was begun with, and those added."""

from collections.abc import Iterable

from milk.models import StarterCan, Vat, WheyAdded

# Cans with whey of these vats: those begun with it, and those it was added to.
_WHEY = """
          SELECT id, from_vat_id FROM milk_startercan
          WHERE from_vat_id = ANY(%(vats)s::int4[]) AND struck_at IS NULL
          UNION ALL
          SELECT can_id, vat_id FROM milk_wheyadded
          WHERE vat_id = ANY(%(vats)s::int4[]) AND struck_at IS NULL"""
# Vats made with whey starter of these vats: a second ring, told apart from the milk itself.
SECOND_RING = f"""
SELECT v.uuid, v.day, v.number, v.round, v.happened_at, c.can, c.from_vat_id
FROM (SELECT w.id, min(k.can) AS can, min(w.from_vat_id) AS from_vat_id FROM ({_WHEY}) AS w
      JOIN milk_startercan AS k ON k.id = w.id AND k.struck_at IS NULL
      GROUP BY w.id OFFSET 0) AS c
CROSS JOIN LATERAL (
    SELECT id, uuid, day, number, round, happened_at FROM milk_vat
    WHERE starter_can_id = c.id AND struck_at IS NULL OFFSET 0) AS v
ORDER BY v.happened_at, v.id
"""
# The cans themselves, whether or not any vat was started with them yet.
CANS_OF_WHEY = f"""
SELECT DISTINCT k.uuid, k.can, k.happened_at, k.id FROM ({_WHEY}) AS w
JOIN milk_startercan AS k ON k.id = w.id AND k.struck_at IS NULL
ORDER BY k.happened_at, k.id
"""


def vats_in(cans: Iterable[StarterCan]) -> dict[int, list[int]]:
    """By can (key), the vats (keys) whose whey is in it, the first one first. One statement."""
    found = {can.pk: [can.from_vat_id] for can in cans}
    added = WheyAdded.objects.standing().filter(can_id__in=sorted(found))
    for can, vat in added.order_by("happened_at", "id").values_list("can_id", "vat_id"):
        if vat not in found[can]:
            found[can].append(vat)
    return found


def vats_named(vats: Iterable[int]) -> dict[int, Vat]:
    """Vats by key."""
    return Vat.objects.in_bulk(list(vats))


def cans_with(vats: Iterable[int]) -> set[int]:
    """The standing cans (keys) with whey of any of these vats. One statement."""
    numbers = sorted(vats)
    begun = StarterCan.objects.standing().filter(from_vat__in=numbers).order_by()
    added = WheyAdded.objects.standing().filter(vat__in=numbers, can__struck_at=None).order_by()
    keys = begun.values_list("pk", flat=True)
    return set(keys.union(added.values_list("can_id", flat=True)))
