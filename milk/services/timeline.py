"""What the book says of the tanks, as a time line that ``milk.blend`` can replay.

A replay need not begin with the first milking ever: it begins with the opening of a lot that no
milking and no draw lasts across, over what that lot found in the tank.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import F, Max, Q

from config.asking import ask
from config.entries import Entry
from milk.blend import Flow, Lot, Wash, known_lot
from milk.figures import LongestDraws, longest_draws
from milk.models import Delivery, LotParent, Milking, MilkLot, Tank, TankEvent, Tray, VatFill
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


def grams(kg: Decimal) -> int:
    """kg to the gram, as a whole number."""
    return int(kg * 1000)


def kilos(whole_grams: int) -> Decimal:
    return Decimal(whole_grams).scaleb(-3)


@dataclass(frozen=True)
class TimeLine:
    """The flows and washes of some tanks, each from its own start on, and what stood in them.

    ``ends``: by tank, the opening of the lot before which it stops; without one it runs to the end.
    """

    starts: Mapping[int, datetime]
    flows: list[Flow]
    washes: list[Wash]
    standing: dict[int, Lot] = field(default_factory=dict)
    ends: Mapping[int, datetime] = field(default_factory=dict)

    def of_tanks(self) -> Q:
        """The lots that this time line replays."""
        found = Q(pk__in=[])
        for tank, start in self.starts.items():
            own = Q(tank_id=tank, opened_at__gte=start)
            found |= own & Q(opened_at__lt=self.ends[tank]) if tank in self.ends else own
        return found

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
    todo = [(tank, since) for tank in sorted(set(tanks))]
    while todo:
        tank, moment = todo.pop()
        lot, start = clean_start(tank, moment, longest.most)
        if tank in starts and starts[tank] <= start:
            continue
        starts[tank] = start
        openings.pop(tank, None)
        if lot is not None:
            openings[tank] = lot
        # A move belongs to two tanks: both replay it or neither does.
        todo += [
            (other, first)
            for other, first in first_moves(tank, start, before)
            if other not in starts or starts[other] > first
        ]
    return read_from(starts, openings, before, longest)


def read_all() -> TimeLine:
    """The time line of every tank from its first milk on."""
    every = Tank.objects.values_list("pk", flat=True)
    return read_from(dict.fromkeys(every, BEGINNING), {}, END, longest_draws())


def clean_start(tank: int, before: datetime, perhaps: timedelta) -> tuple[int | None, datetime]:
    """The lot (key) to begin with, and its opening; the beginning of time when there is none.

    ``perhaps``: the longest a draw may last of which nobody wrote the end.
    """
    asked = {"tank": tank, "before": before, "longest": LONGEST_FLOW, "perhaps": perhaps}
    rows = ask(CLEAN_START, asked)
    return (rows[0][0], rows[0][1]) if rows else (None, BEGINNING)


def first_moves(tank: int, start: datetime, before: datetime) -> Iterator[tuple[int, datetime]]:
    """By other tank, the first move to or from it from ``start`` on, before ``before``."""
    yield from ask(FIRST_MOVES, {"tank": tank, "start": start, "before": before})


def read_from(
    starts: Mapping[int, datetime],
    openings: Mapping[int, int],
    before: datetime,
    longest: LongestDraws,
) -> TimeLine:
    """The time line of each tank from its start on; ``openings``: the lot (key) opening there."""
    within = since_start(starts, before)
    flows = [*milk_in(within), *deliveries(within, longest), *drawn(within, longest)]
    events = list(tank_events(within))
    washes = [
        Wash(event.tank_id, event.happened_at)
        for event in events
        if event.what in (TankEvent.What.WASHED, TankEvent.What.EMPTIED)
    ]
    flows += [event_flow(event) for event in events if event.what in TankEvent.TAKES_MILK]
    flows.sort(key=lambda found: (found[0].at, found[0].key[0], found[1]))
    return TimeLine(starts, [flow for flow, _ in flows], washes, standing(starts, openings))


def since_start(starts: Mapping[int, datetime], before: datetime) -> Q:
    """Entries of these tanks from their start on, before ``before``."""
    ended = Q() if before == END else Q(happened_at__lt=before)
    found = Q(pk__in=[])
    for tank, start in starts.items():
        found |= Q(tank_id=tank, happened_at__gte=start) & ended
    return found


def flow_of(entry: Any, kind: str, **others: Any) -> tuple[Flow, Any]:
    """A flow, and the number of its entry: entries of one moment are taken in that order."""
    flow = Flow(
        key=(kind, entry.pk),
        at=entry.happened_at,
        until=entry.ended_at,
        grams=grams(entry.kg),
        **others,
    )
    return flow, entry.uuid


COLUMNS = ("id", "uuid", "happened_at", "ended_at", "kg", "tank_id")


def milk_in(within: Q) -> Iterator[tuple[Flow, Any]]:
    rows = Milking.objects.standing().filter(within)
    for row in rows.only(*COLUMNS, "day", "session"):
        session = (MILKING, row.day, row.session)
        yield flow_of(row, MILKING, to=row.tank_id, session=session)


def draw_of(entry: Any, kind: str, longest: LongestDraws) -> tuple[Flow, Any]:
    """A draw out of the tanks; without an end it may last as long as the estate says."""
    perhaps = None if entry.ended_at else entry.happened_at + longest.at(entry.happened_at)
    return flow_of(entry, kind, source=entry.tank_id, perhaps_until=perhaps)


def deliveries(within: Q, longest: LongestDraws) -> Iterator[tuple[Flow, Any]]:
    for row in Delivery.objects.standing().filter(within).only(*COLUMNS, "way"):
        if row.way == Delivery.Way.IN:
            yield flow_of(row, DELIVERY, to=row.tank_id, session=(DELIVERY, row.pk))
        else:
            yield draw_of(row, DELIVERY, longest)


def drawn(within: Q, longest: LongestDraws) -> Iterator[tuple[Flow, Any]]:
    models: list[tuple[type[Entry], str]] = [(Tray, TRAY), (VatFill, FILL)]
    for model, kind in models:
        for row in model.objects.standing().filter(within).only(*COLUMNS):
            yield draw_of(row, kind, longest)


def tank_events(within: Q) -> Iterator[TankEvent]:
    what = TankEvent.What
    counts = (what.WASHED, what.EMPTIED, *TankEvent.TAKES_MILK)
    rows = TankEvent.objects.standing().filter(within, what__in=counts)
    yield from rows.only(*COLUMNS, "what", "to_tank_id")


def event_flow(event: TankEvent) -> tuple[Flow, Any]:
    key: Key = (EVENT, event.pk)
    if event.what == TankEvent.What.MOVED:
        return flow_of(event, EVENT, source=event.tank_id, to=event.to_tank_id, session=key)
    return flow_of(event, EVENT, source=event.tank_id)


def standing(starts: Mapping[int, datetime], openings: Mapping[int, int]) -> dict[int, Lot]:
    """By tank, the lot that was left in it when the replay begins."""
    tank_of = {lot: tank for tank, lot in openings.items()}
    edges = LotParent.objects.filter(lot_id__in=tank_of, parent__void=False)
    return {
        tank_of[edge.lot_id]: known_lot(
            edge.parent_id, tank_of[edge.lot_id], grams(edge.kg), starts[tank_of[edge.lot_id]]
        )
        for edge in edges.select_related("parent")
        if edge.parent.tank_id == tank_of[edge.lot_id]
    }


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
