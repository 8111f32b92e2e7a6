"""Where a trace forward starts: milkings of an animal, a course, feed or a group, and their lots.

Every kind of start gives the same: the lots whose own milk holds something of it, with kg.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from milk.trace_mistakes import mistakes_of
from milk.trace_parts import FedTo, FeedIn, MilkingIn, Period, hours_late
from milk.trace_sql import (
    FEEDS_FED,
    HEADS,
    METERED_BETWEEN,
    METERED_EVER,
    MILKINGS_BETWEEN,
    MILKINGS_OF_FEED,
    PARTS_OF_MILKINGS,
    PARTS_WITH_ROWS,
    PERIODS_OF_COURSE,
    STOOD_BY,
    Reader,
)

BEGINNING = datetime(1, 1, 2, tzinfo=UTC)
END = datetime(9999, 12, 30, tzinfo=UTC)
# Seconds after the start are a smallint: no cow stands at the meter later than this.
LONGEST_MILKING = timedelta(seconds=32_767)


@dataclass(frozen=True)
class Span:
    """Milkings that began in [since, until)."""

    since: datetime = BEGINNING
    until: datetime = END


@dataclass
class Start:
    """Where it starts: milkings, and what of their milk is of interest.

    ``parts``: (milking, lot key, kg of the lot's own milk). ``astray``: milkings of which the book
    does not say where the milk went; ``kept_out``: milkings whose milk was kept out of the tank.
    """

    milkings: list[MilkingIn] = field(default_factory=list)
    parts: list[tuple[MilkingIn | None, int, float]] = field(default_factory=list)
    astray: list[MilkingIn] = field(default_factory=list)
    kept_out: list[MilkingIn] = field(default_factory=list)
    periods: list[Period] = field(default_factory=list)
    feeds: list[FeedIn] = field(default_factory=list)

    def lots(self) -> dict[int, float]:
        """By lot (key), the kg of its own milk that is of interest."""
        found: dict[int, float] = defaultdict(float)
        for _, lot, kg in self.parts:
            found[lot] += kg
        return dict(found)


@dataclass(frozen=True)
class PartOf:
    """A part of a milking that an animal's milk is, or may be, in."""

    milking: MilkingIn
    lot: int
    kg: float


def from_lot(lot: int, kg: float) -> Start:
    """All of a lot's own milk."""
    return Start(parts=[(None, lot, kg)])


def from_group(reader: Reader, group: int, span: Span) -> Start:
    """All that a group gave."""
    return from_groups(reader, [(group, span.since, span.until)], span)


def from_feed(
    reader: Reader,
    batches: Sequence[int],
    feed_lots: Sequence[int],
    span: Span,
    counts: Mapping[str, Any],
) -> Start:
    """What groups gave at the milkings that began within a time after they were fed of it.

    ``counts``: that time, as MILKINGS_OF_FEED asks for it.
    """
    feed = {"batches": sorted(batches), "feed_lots": sorted(feed_lots)}
    given = {**feed, "since": span.since, "until": span.until, **counts}
    reader.ahead(MILKINGS_OF_FEED, **given)
    reader.ahead(FEEDS_FED, **feed)
    rows = reader.rows(MILKINGS_OF_FEED, **given)
    # Nobody waits for what is below while the rows are put together.
    reader.below_ahead(sorted({row[-2] for row in rows} - {None}))
    feeds: dict[UUID, FeedIn] = {}
    for *row, group, number, at, kg, weighed in reader.rows(FEEDS_FED, **feed):
        told = FeedIn(*row)
        one = feeds.setdefault(told.uuid, told)
        if group is not None:
            one.fed.append(FedTo(number, at, kg, weighed, hours_late(at, one.deadline), []))
    start = of_milkings(rows)
    start.feeds = list(feeds.values())
    return start


def apart(
    spans: Iterable[tuple[int, datetime, datetime]],
) -> list[tuple[int, datetime, datetime]]:
    """Spans of groups, both ends included, those of a group that meet made one."""
    found: list[tuple[int, datetime, datetime]] = []
    for group, first, last in sorted(spans):
        if found and found[-1][0] == group and first <= found[-1][2]:
            found[-1] = (group, found[-1][1], max(last, found[-1][2]))
        else:
            found.append((group, first, last))
    return found


def from_groups(
    reader: Reader, spans: Iterable[tuple[int, datetime, datetime]], span: Span
) -> Start:
    """What groups gave at milkings that began in spans of their own, both ends included."""
    groups, firsts, lasts = map(list, zip(*apart(spans), strict=True))
    given = {"groups": groups, "firsts": firsts, "lasts": lasts}
    return of_milkings(reader.rows(MILKINGS_BETWEEN, **given, since=span.since, until=span.until))


def of_milkings(rows: Iterable[Sequence[Any]]) -> Start:
    """All that was given at the milkings of MILKINGS_BETWEEN or MILKINGS_OF_FEED."""
    start = Start()
    told: dict[int, MilkingIn] = {}
    for *row, lot, kg in rows:
        milking = told.get(row[0]) or make_milking(row)
        told[milking.pk] = milking
        if lot is None:
            start.astray.append(milking)
        else:
            start.parts.append((milking, lot, kg))
    start.milkings = list(told.values())
    return start


def from_course(reader: Reader, course: int, span: Span) -> Start:
    """What the treated animal gave inside the course's withdrawal periods."""
    periods = [Period(*row) for row in reader.rows(PERIODS_OF_COURSE, course=course)]
    if not periods:
        return Start()
    hull = Span(
        max(span.since, min(period.since or BEGINNING for period in periods)),
        min(span.until, max(period.until or END for period in periods)),
    )

    def inside(at: datetime) -> bool:
        return any(period.holds(at) for period in periods)

    start = from_animal(reader, periods[0].animal, hull, inside)
    start.periods = periods
    return start


def anytime(at: datetime) -> bool:
    return True


def from_animal(
    reader: Reader, animal: int, span: Span, inside: Callable[[datetime], bool] = anytime
) -> Start:
    """What an animal gave: by meter row, or because she stood in the group that was milked.

    ``inside``: whether a moment counts. Hers at the meter where it was written, else the start of
    the milking.
    """
    start = Start()
    open_: dict[int, MilkingIn] = {}
    unweighed: list[PartOf] = []
    told: dict[int, MilkingIn] = {}
    for milking, lot, grams, goes in metered(reader, animal, span, inside):
        told[milking.pk] = milking
        if goes:
            start.kept_out.append(milking)
        elif lot is None:
            open_[milking.pk] = milking
        elif grams is None:
            unweighed.append(PartOf(milking, lot, 0.0))
        else:
            start.parts.append((milking, lot, grams / 1000))
    for row in reader.rows(STOOD_BY, animal=animal, first=span.since, last=span.until):
        milking = make_milking(row)
        if milking.pk not in told and inside(milking.started_at):
            open_.setdefault(milking.pk, milking)
    parts = parts_of(reader, open_.values())
    may = without_rows(reader, parts)
    share_out(reader, start, unweighed, may)
    wrong = add_mistakes(reader, start, animal, span, inside)
    start.milkings = sorted(
        [m for m in (*{**open_, **told}.values(), *wrong) if m not in start.kept_out],
        key=lambda milking: (milking.started_at, milking.pk),
    )
    with_parts = {part.milking.pk for part in parts}
    start.astray += [milking for pk, milking in open_.items() if pk not in with_parts]
    return start


def add_mistakes(
    reader: Reader, start: Start, animal: int, span: Span, inside: Callable[[datetime], bool]
) -> list[MilkingIn]:
    """Add what was milked of her into a tank by mistake; those milkings.

    A lot that a row or her group puts her into anyway does not have it twice.
    """
    known = start.lots()
    found = []
    for mistake in mistakes_of(reader, animal, span.since, span.until):
        if mistake.lot in known or not inside(mistake.milking.started_at):
            continue
        found.append(mistake.milking)
        if mistake.lot is None:
            start.astray.append(mistake.milking)
        else:
            start.parts.append((mistake.milking, mistake.lot, mistake.kg or 0.0))
    return found


def metered(
    reader: Reader, animal: int, span: Span, inside: Callable[[datetime], bool]
) -> Iterable[tuple[MilkingIn, int | None, int | None, int]]:
    """(milking, lot, grams, goes) of an animal's meter rows."""
    if span == Span():
        rows = reader.rows(METERED_EVER, animal=animal)
    else:
        rows = reader.rows(
            METERED_BETWEEN,
            animal=animal,
            first=max(span.since - LONGEST_MILKING, BEGINNING) if inside != anytime else span.since,
            last=span.until,
        )
    for *milking, lot, grams, goes, seconds in rows:
        made = make_milking(milking)
        if inside(made.started_at + timedelta(seconds=seconds or 0)):
            yield made, lot, grams, goes


def make_milking(row: Sequence[Any]) -> MilkingIn:
    """A milking of a row that ends with its tank."""
    return MilkingIn(*row)


def parts_of(reader: Reader, milkings: Iterable[MilkingIn]) -> list[PartOf]:
    """The lots these milkings went into."""
    by_pk = {milking.pk: milking for milking in milkings}
    if not by_pk:
        return []
    rows = reader.rows(PARTS_OF_MILKINGS, milkings=list(by_pk))
    return [PartOf(by_pk[milking], lot, kg) for milking, lot, kg in rows]


def without_rows(reader: Reader, parts: Sequence[PartOf]) -> list[PartOf]:
    """Parts whose animals are those that stood in the group: no meters, or no rows came."""
    doubtful = [part for part in parts if part.milking.metered]
    if not doubtful:
        return list(parts)
    known = set(
        reader.rows(
            PARTS_WITH_ROWS,
            milkings=[part.milking.pk for part in doubtful],
            lots=[part.lot for part in doubtful],
        )
    )
    return [part for part in parts if (part.milking.pk, part.lot) not in known]


def share_out(
    reader: Reader, start: Start, unweighed: Sequence[PartOf], stood: Sequence[PartOf]
) -> None:
    """Add an animal's equal part of what no meter weighed, as the way back tells it."""
    asked = [replace(part) for part in (*unweighed, *stood)]
    if not asked:
        return
    standing = [False] * len(unweighed) + [True] * len(stood)
    rows = reader.rows(
        HEADS,
        milkings=[part.milking.pk for part in asked],
        lots=[part.lot for part in asked],
        groups=[part.milking.group_id for part in asked],
        starts=[part.milking.started_at for part in asked],
        stood=[
            flag or not part.milking.metered for part, flag in zip(asked, standing, strict=True)
        ],
    )
    heads = {(milking, lot): (kg, known, unknown) for milking, lot, kg, known, unknown in rows}
    for part in asked:
        kg, known, unknown = heads[part.milking.pk, part.lot]
        each = max((kg or 0.0) - (known or 0) / 1000, 0.0) / max(unknown, 1)
        start.parts.append((part.milking, part.lot, each))
