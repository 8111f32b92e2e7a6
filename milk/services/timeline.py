"""What the book says of the tanks, as a time line that ``milk.blend`` can replay.

A replay need not begin with the first milking ever: it begins with the opening of a lot that no
milking and no draw lasts across, over what that lot found in the tank.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import cache
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import F, Max, Q

from config.asking import fetched, in_a_row, send
from milk.blend import Flow, Lot, Wash, known_lot
from milk.figures import LongestDraws, longest_draws
from milk.models import Delivery, MilkLot, Tank, TankEvent
from milk.models.tanks import LONGEST_FLOW

BEGINNING = datetime.min.replace(tzinfo=UTC)
END = datetime.max.replace(tzinfo=UTC)
Key = tuple[str, int]
# What a flow is, and so which column of LotDraw names it.
MILKING, DELIVERY, EVENT, TRAY, FILL = "milking", "delivery", "tank_event", "tray", "vat_fill"

# The last lot before a moment with which a replay can begin: no flow lasts across its opening, no
# draw begins with it, and no other lot was opened at the same moment. OFFSET 0 keeps each question
# one of its own, asked by index of the few newest lots, where a join would read all lots there are.
FIRST_MOVES = """
    SELECT to_tank_id, min(happened_at) FROM milk_tankevent
    WHERE what = 'moved' AND struck_at IS NULL AND tank_id = %(tank)s
      AND happened_at >= %(start)s AND happened_at < %(before)s
    GROUP BY to_tank_id
    UNION ALL
    SELECT tank_id, min(happened_at) FROM milk_tankevent
    WHERE what = 'moved' AND struck_at IS NULL AND to_tank_id = %(tank)s
      AND happened_at >= %(start)s AND happened_at < %(before)s
    GROUP BY tank_id
"""
CLEAN_START = """
    SELECT l.id, l.opened_at FROM milk_milklot AS l
    WHERE l.tank_id = %(tank)s AND NOT l.void AND l.opened_at < %(before)s AND NOT EXISTS (
        SELECT 1 FROM milk_milklot AS other
        WHERE other.tank_id = l.tank_id AND other.opened_at = l.opened_at AND NOT other.void
          AND other.id <> l.id
        OFFSET 0
    ) AND NOT EXISTS (
        SELECT 1 FROM milk_milking AS f
        WHERE f.tank_id = l.tank_id AND f.struck_at IS NULL AND f.ended_at > l.opened_at
          AND f.happened_at < l.opened_at AND f.happened_at > l.opened_at - %(longest)s
        OFFSET 0
    ) AND NOT EXISTS (
        SELECT 1 FROM milk_delivery AS f
        WHERE f.tank_id = l.tank_id AND f.struck_at IS NULL
          AND f.happened_at <= l.opened_at AND f.happened_at > l.opened_at - %(longest)s
          AND (f.ended_at > l.opened_at AND f.happened_at < l.opened_at
               OR f.way = 'out' AND (f.happened_at = l.opened_at
                   OR f.ended_at IS NULL AND f.happened_at > l.opened_at - %(perhaps)s))
        OFFSET 0
    ) AND NOT EXISTS (
        SELECT 1 FROM milk_tankevent AS f
        WHERE f.tank_id = l.tank_id AND f.struck_at IS NULL
          AND f.what IN ('drawn', 'dumped', 'moved')
          AND f.happened_at <= l.opened_at AND f.happened_at > l.opened_at - %(longest)s
          AND (f.ended_at > l.opened_at OR f.happened_at = l.opened_at)
        OFFSET 0
    ) AND NOT EXISTS (
        SELECT 1 FROM milk_tankevent AS f
        WHERE f.to_tank_id = l.tank_id AND f.struck_at IS NULL AND f.ended_at > l.opened_at
          AND f.happened_at < l.opened_at AND f.happened_at > l.opened_at - %(longest)s
        OFFSET 0
    ) AND NOT EXISTS (
        SELECT 1 FROM milk_tray AS f
        WHERE f.tank_id = l.tank_id AND f.struck_at IS NULL
          AND f.happened_at <= l.opened_at AND f.happened_at > l.opened_at - %(longest)s
          AND (f.ended_at > l.opened_at OR f.happened_at = l.opened_at
               OR f.ended_at IS NULL AND f.happened_at > l.opened_at - %(perhaps)s)
        OFFSET 0
    ) AND NOT EXISTS (
        SELECT 1 FROM milk_vatfill AS f
        WHERE f.tank_id = l.tank_id AND f.struck_at IS NULL
          AND f.happened_at <= l.opened_at AND f.happened_at > l.opened_at - %(longest)s
          AND (f.ended_at > l.opened_at OR f.happened_at = l.opened_at
               OR f.ended_at IS NULL AND f.happened_at > l.opened_at - %(perhaps)s)
        OFFSET 0
    )
    ORDER BY l.opened_at DESC, l.id DESC LIMIT 1
"""
# What is told of each flow and each wash: (table, kind, what it is, other tank, day, session).
TOLD = (
    ("milk_milking", MILKING, "''", "NULL::int4", "f.day", "f.session"),
    ("milk_delivery", DELIVERY, "f.way", "NULL::int4", "NULL::date", "''"),
    ("milk_tray", TRAY, "''", "NULL::int4", "NULL::date", "''"),
    ("milk_vatfill", FILL, "''", "NULL::int4", "NULL::date", "''"),
    ("milk_tankevent", EVENT, "f.what", "f.to_tank_id", "NULL::date", "''"),
)
# What was left in a tank when the lot with which a replay begins was opened.
STANDING = """
    SELECT l.tank_id, e.parent_id, (e.kg * 1000)::int8
    FROM milk_lotparent AS e
    JOIN milk_milklot AS l ON l.id = e.lot_id
    JOIN milk_milklot AS p ON p.id = e.parent_id
    WHERE e.lot_id = ANY(%(lots)s::int4[]) AND p.tank_id = l.tank_id AND NOT p.void
"""
COUNTS = (TankEvent.What.WASHED, TankEvent.What.EMPTIED, *TankEvent.TAKES_MILK)
EVENTS = ", ".join(f"'{what.value}'" for what in COUNTS)


@cache
def flows_of(tanks: int) -> str:
    """The statement for the flows and washes of so many tanks, each from its own start on.

    Each tank and start stands in it as a value of its own: so the planner sees how little it is.
    """
    whose = " OR ".join(
        f"f.tank_id = %(tank{n})s::int4 AND f.happened_at >= %(since{n})s" for n in range(tanks)
    )
    return " UNION ALL ".join(
        f"SELECT '{kind}', f.id, f.uuid, f.happened_at, f.ended_at, (f.kg * 1000)::int8,"
        f" f.tank_id, {what}, {other}, {day}, {session} FROM {table} AS f"
        f" WHERE f.struck_at IS NULL AND f.happened_at < %(before)s AND ({whose})"
        + (f" AND f.what IN ({EVENTS})" if kind == EVENT else "")
        for table, kind, what, other, day, session in TOLD
    )


def grams(kg: Decimal) -> int:
    """kg to the gram, as a whole number."""
    return int(kg * 1000)


def kilos(whole_grams: int) -> Decimal:
    return Decimal(whole_grams).scaleb(-3)


@dataclass(frozen=True)
class TimeLine:
    """The flows and washes of some tanks, each from its own start on, and what stood in them.

    ``ends``: by tank, the opening of the lot before which it stops; without one it runs to the end.
    ``numbers``: by flow, the number of its entry.
    """

    starts: Mapping[int, datetime]
    flows: list[Flow]
    washes: list[Wash]
    standing: dict[int, Lot] = field(default_factory=dict)
    ends: Mapping[int, datetime] = field(default_factory=dict)
    numbers: Mapping[Key, UUID] = field(default_factory=dict)

    def after(self) -> Q:
        """The lots of these tanks that come after it and stay as they are."""
        found = Q(pk__in=[])
        for tank, end in self.ends.items():
            found |= Q(tank_id=tank, opened_at__gte=end)
        return found

    def until(self, ends: Mapping[int, datetime]) -> "TimeLine":
        """The same up to the opening of one lot of each tank, where the lot before it ends."""
        return replace(
            self,
            flows=[flow for flow in self.flows if flow.at < ends[line_tank(flow, ends)]],
            washes=[
                *(wash for wash in self.washes if wash.at < ends[wash.tank]),
                *(Wash(tank, end) for tank, end in ends.items()),
            ],
            ends=ends,
        )


def line_tank(flow: Flow, tanks: Mapping[int, datetime]) -> int:
    """The tank of a time line that a flow goes by; a move is on the same side in both of its."""
    number: int = flow.source if flow.source in tanks else flow.to
    return number


def read(tanks: Iterable[int], since: datetime, before: datetime = END) -> TimeLine:
    """The time line to replay when something changed in ``tanks`` (keys) at ``since`` or later.

    ``before``: only what began before it.
    """
    starts: dict[int, datetime] = {}
    openings: dict[int, int] = {}
    longest = longest_draws()
    todo = dict.fromkeys(sorted(set(tanks)), since)
    while todo:
        earlier = {
            tank: (lot, start)
            for tank, (lot, start) in clean_starts(todo, longest.most).items()
            if tank not in starts or start < starts[tank]
        }
        for tank, (lot, start) in earlier.items():
            starts[tank] = start
            openings.pop(tank, None)
            if lot is not None:
                openings[tank] = lot
        # A move belongs to two tanks: both replay it or neither does.
        todo = {
            other: first
            for other, first in first_moves(
                {tank: starts[tank] for tank in earlier}, before
            ).items()
            if other not in starts or starts[other] > first
        }
    return read_from(starts, openings, before, longest)


def read_all() -> TimeLine:
    """The time line of every tank from its first milk on."""
    every = Tank.objects.values_list("pk", flat=True)
    return read_from(dict.fromkeys(every, BEGINNING), {}, END, longest_draws())


def clean_starts(
    befores: Mapping[int, datetime], perhaps: timedelta
) -> dict[int, tuple[int | None, datetime]]:
    """By tank, the lot (key) to begin with and its opening; the beginning of time without one.

    ``befores``: by tank, the moment before which it opened. ``perhaps``: the longest a draw may
    last of which nobody wrote the end.
    """
    asked = {"longest": LONGEST_FLOW, "perhaps": perhaps}
    with in_a_row():
        sent = {
            tank: send(CLEAN_START, {**asked, "tank": tank, "before": before})
            for tank, before in befores.items()
        }
        rows = {tank: fetched(cursor) for tank, cursor in sent.items()}
    return {
        tank: (found[0][0], found[0][1]) if found else (None, BEGINNING)
        for tank, found in rows.items()
    }


def first_moves(starts: Mapping[int, datetime], before: datetime) -> dict[int, datetime]:
    """By other tank, the first move to or from one of these since its start, before ``before``."""
    with in_a_row():
        sent = [
            send(FIRST_MOVES, {"tank": tank, "start": start, "before": before})
            for tank, start in starts.items()
        ]
        rows = [row for cursor in sent for row in fetched(cursor)]
    found: dict[int, datetime] = {}
    for other, first in rows:
        found[other] = min(first, found.get(other, first))
    return found


def read_from(
    starts: Mapping[int, datetime],
    openings: Mapping[int, int],
    before: datetime,
    longest: LongestDraws,
) -> TimeLine:
    """The time line of each tank from its start on; ``openings``: the lot (key) opening there."""
    if not starts:
        return TimeLine({}, [], [])
    values: dict[str, Any] = {"before": before}
    for n, (tank, start) in enumerate(starts.items()):
        values |= {f"tank{n}": tank, f"since{n}": start}
    with in_a_row():
        sent = send(flows_of(len(starts)), values)
        left = send(STANDING, {"lots": list(openings.values())})
        rows = [Told(*row) for row in fetched(sent)]
        standing = {
            tank: known_lot(lot, tank, weight, starts[tank]) for tank, lot, weight in fetched(left)
        }
    # Entries of one moment are taken in the order of their numbers.
    rows.sort(key=lambda row: (row.at, row.kind, row.uuid))
    return TimeLine(
        starts,
        [flow_of(row, longest) for row in rows if row.flows],
        [Wash(row.tank, row.at) for row in rows if not row.flows],
        standing,
        numbers={row.key: row.uuid for row in rows},
    )


class Told(NamedTuple):
    """An entry of flowing milk, or a wash, as the book tells it."""

    kind: str
    id: int
    uuid: UUID
    at: datetime
    until: datetime | None
    grams: int
    tank: int
    what: str
    to_tank: int | None
    day: date | None
    session: str

    @property
    def key(self) -> Key:
        return self.kind, self.id

    @property
    def flows(self) -> bool:
        """Whether it is no wash."""
        return self.kind != EVENT or self.what in TankEvent.TAKES_MILK


def flow_of(row: Told, longest: LongestDraws) -> Flow:
    """Milk into a tank, from one into another, or out of one.

    A draw out of the tanks without an end may last as long as the estate says.
    """
    if row.kind == MILKING:
        return flow(row, to=row.tank, session=(MILKING, row.day, row.session))
    if row.kind == DELIVERY and row.what == Delivery.Way.IN:
        return flow(row, to=row.tank, session=row.key)
    if row.kind == EVENT and row.what == TankEvent.What.MOVED:
        return flow(row, source=row.tank, to=row.to_tank, session=row.key)
    if row.kind == EVENT:
        return flow(row, source=row.tank)
    perhaps = None if row.until else row.at + longest.at(row.at)
    return flow(row, source=row.tank, perhaps_until=perhaps)


def flow(row: Told, **others: Any) -> Flow:
    return Flow(key=row.key, at=row.at, until=row.until, grams=row.grams, **others)


def last_wash(tank: Tank, at: datetime) -> datetime | None:
    """When the tank was last washed or emptied at ``at`` or before; None when never."""
    washed = TankEvent.objects.happened_by(at).filter(
        tank=tank, what__in=(TankEvent.What.WASHED, TankEvent.What.EMPTIED)
    )
    found: datetime | None = washed.aggregate(Max("happened_at"))["happened_at__max"]
    return found


def lot_in(tank: Tank, at: datetime) -> MilkLot | None:
    """The lot a draw that begins at ``at`` would take from; None when the tank holds no milk."""
    opened = MilkLot.objects.valid().filter(tank=tank, opened_at__lt=at)
    # Of several opened at one moment the last is the one that ended last, or has not ended.
    lot: MilkLot | None = opened.order_by(
        "-opened_at", F("ended_at").desc(nulls_first=True), "-id"
    ).first()
    if lot is None or (lot.ended_at is not None and lot.ended_at < at):
        return None
    return lot
