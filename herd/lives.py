"""What was written of each animal's breeding, read for many animals in a few statements.

Asked without the ORM, all at once: twelve thousand rows of two thousand animals stand behind the
lists of the barn. ``tests/herd/test_lives.py`` says the same the slow way.
"""

from collections.abc import Collection, Iterable, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.db.models import F, Max, Min, Q
from django.db.models.expressions import RawSQL

from config.asking import fetched, in_a_row, send
from config.days import estate_zone, local_day
from herd.breeding import SHORT_BREEDS, Check, Life
from herd.breeding_rules import breeds
from herd.models import Animal, GroupStay
from herd.services.withdrawals import grouped

# Of what happens again and again only so much is read: nothing older says where she stands today.
LOOK_BACK = timedelta(days=3 * 365)
EVER = datetime(1, 1, 1, tzinfo=UTC)

Rows = Iterable[tuple[Any, ...]]


def written(table: str, *columns: str, animal: str = "animal_id") -> str:
    """Standing entries of animals as rows of animal, the estate's day and columns, as time went.

    Each animal is looked up by herself (OFFSET 0 keeps it so), so that the years behind the herd
    cost nothing.
    """
    named = "".join(f", entry.{column}" for column in columns)
    return f"""
        SELECT cow.id, (entry.happened_at AT TIME ZONE %(zone)s)::date{named}
        FROM unnest(%(animals)s::int[]) AS cow(id)
        CROSS JOIN LATERAL (
            SELECT * FROM {table}
            WHERE {animal} = cow.id AND struck_at IS NULL
              AND happened_at > %(since)s::timestamptz AND happened_at <= %(now)s::timestamptz
            OFFSET 0) AS entry
        ORDER BY entry.happened_at, entry.id
    """


CALVINGS = written("herd_calving", animal="dam_id")
SERVICES = written("herd_service")
CHECKS = written("herd_pregnancycheck", "result", "days")
HEATS = written("herd_heat")
DRY_OFFS = written("herd_dryoff")
DECISIONS = written("herd_breedingdecision", "serve")
BREEDS = """
    SELECT cow.id, animal.breed
    FROM unnest(%(animals)s::int[]) AS cow(id)
    JOIN herd_animal AS animal ON animal.id = cow.id
"""
# What was written long ago counts as well.
WHENEVER = (CALVINGS, DECISIONS)


def lives(animals: Sequence[int], now: datetime) -> dict[int, Life]:
    """The lives of some animals (ids) as far as they happened by ``now``. Eight statements."""
    if not animals:
        return {}
    these, zone = list(animals), str(estate_zone())
    with in_a_row():
        sent = {
            statement: send(
                statement,
                {
                    "animals": these,
                    "zone": zone,
                    "since": EVER if statement in WHENEVER else now - LOOK_BACK,
                    "now": now,
                },
            )
            for statement in (CALVINGS, SERVICES, CHECKS, HEATS, DRY_OFFS, DECISIONS)
        }
        named = send(BREEDS, {"animals": these})
    rows = {statement: fetched(cursor) for statement, cursor in sent.items()}
    calved, served, heats, dried = (
        grouped(rows[statement]) for statement in (CALVINGS, SERVICES, HEATS, DRY_OFFS)
    )
    checked = grouped((animal, Check(*check)) for animal, *check in rows[CHECKS])
    decided = grouped((animal, (day, serve)) for animal, day, serve in rows[DECISIONS])
    known = breeds()
    return {
        animal: Life(
            calvings=tuple(calved.get(animal, ())),
            services=tuple(served.get(animal, ())),
            checks=tuple(checked.get(animal, ())),
            heats=tuple(heats.get(animal, ())),
            dry_offs=tuple(dried.get(animal, ())),
            decisions=tuple(decided.get(animal, ())),
            breed=known.get(breed_code(breed), ()),
        )
        for animal, breed in fetched(named)
    }


def as_array(animals: Collection[int]) -> RawSQL:
    """Animals (ids) as one value: thousands of parameters take longer to write than to look up."""
    return RawSQL("SELECT unnest(%s::int[])", [list(animals)])


def breed_code(breed: str) -> str:
    """The breed's code of three letters, also of one written with two."""
    code = breed.strip().upper()
    return SHORT_BREEDS.get(code, code)


def presence(since: datetime, now: datetime) -> dict[int, tuple[tuple[date, date | None], ...]]:
    """When each female was on the estate, of those that were there at any time since a moment.

    From her first stay to her leaving; an animal that came back is there from her first stay on.
    """
    here = Q(group=None) & Q(happened_at__lte=now)
    rows = (
        GroupStay.objects.standing()
        .filter(animal__sex=Animal.Sex.FEMALE, happened_at__lte=now)
        .values("animal")
        .annotate(came=Min("happened_at"), left=Max("happened_at", filter=here))
        .annotate(last=Max("happened_at"))
        .filter(Q(left=None) | Q(left__gt=since) | Q(last__gt=F("left")))
        .values_list("animal", "came", "left", "last")
    )
    return {
        animal: ((local_day(came), local_day(left) if left is not None and left == last else None),)
        for animal, came, left, last in rows
    }
