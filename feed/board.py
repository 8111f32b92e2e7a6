"""The forage board: every load at a moment, what is left of it and who got it."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import Exists, OuterRef
from psycopg.types.range import TimestamptzRange

from config.days import local_day
from config.templatetags.sheet import moment
from feed.dry_matter import Known, of_batches
from feed.models import Feeding, ForageBatch, HeapCheck
from feed.services.figures import values_on
from feed.window import State, hours_late
from herd.models import Group, GroupStay

# Loads that were used up stay on the board for a day.
STAYS = timedelta(hours=24)
# What must be done first stands first.
ORDER = (
    State.PAST,
    State.FIRST,
    State.NO_RULE,
    State.FRESH,
    State.DISCARDED,
    State.EATEN,
)


@dataclass(frozen=True, kw_only=True)
class Fed:
    """One feeding of a load, and how many hours past the deadline it was (0.0 when in time)."""

    feeding: Feeding
    hours_late: float

    @property
    def group(self) -> Group:
        return self.feeding.group


@dataclass(frozen=True, kw_only=True)
class Row:
    """One load on the board. Masses in kg; ``check``: the latest probe, None when there is none.

    ``known``: its dry matter and how it is known, None when nobody ever measured any.
    ``asked_kg``: part of it was fed, a newer load is cut, and nobody wrote where so much went.
    """

    batch: ForageBatch
    state: State
    at: datetime
    left_kg: Decimal
    discarded_kg: Decimal
    fed: list[Fed]
    check: HeapCheck | None
    asked_kg: Decimal = Decimal(0)
    known: Known | None = None

    @property
    def asks(self) -> bool:
        return self.asked_kg > 0

    @property
    def known_words(self) -> str:
        """How its dry matter is known, with its age when it is another load's; "" when not."""
        return self.known.words(self.batch.happened_at) if self.known else ""

    @property
    def is_open(self) -> bool:
        return self.left_kg > 0

    @property
    def to_go(self) -> timedelta | None:
        """Until the deadline; negative when it is past, None without a deadline."""
        return None if self.batch.deadline is None else self.batch.deadline - self.at

    @property
    def heated(self) -> bool:
        return self.batch.heated_at is not None and self.batch.heated_at <= self.at

    @property
    def deadline_words(self) -> str:
        """The deadline for reading, only the clock when it is on the board's own day."""
        return clock(self.batch.deadline, self.at)

    @property
    def heated_words(self) -> str:
        """When it was found heated, only the clock when it was on the board's own day."""
        return clock(self.batch.heated_at, self.at)

    @property
    def groups(self) -> list[Group]:
        """The groups that got of it, each once, in the order they were fed."""
        return list({fed.group.pk: fed.group for fed in self.fed}.values())


def board(at: datetime) -> list[Row]:
    """Loads of which something lay there in the 24 h before ``at``; what must be done first, first.

    Eight statements, whatever the number of loads.
    """
    lain = TimestamptzRange(at - STAYS, at, "[]")
    batches = (
        ForageBatch.objects.lying_in(lain)
        .filter(happened_at__lte=at)
        .with_left(at)
        .select_related("field")
    )
    newest = max((batch.happened_at for batch in batches), default=at)
    return rows_of(list(batches), at, newest)


def row_of(batch: ForageBatch, at: datetime) -> Row:
    """One load as the board shows it."""
    found = ForageBatch.objects.with_left(at).select_related("field").get(pk=batch.pk)
    newest = ForageBatch.objects.happened_by(at).order_by("-happened_at").first() or found
    (row,) = rows_of([found], at, newest.happened_at)
    return row


def rows_of(batches: list[ForageBatch], at: datetime, newest: datetime) -> list[Row]:
    """The rows of loads with what is left of them annotated; ``newest``: the latest cut."""
    fed, checks, least = fed_of(batches, at), latest_checks(batches, at), least_asked(at)
    known = of_batches(batches)
    rows = []
    for batch in batches:
        left, discarded = batch.left_kg, batch.discarded_kg  # type: ignore[attr-defined]
        rows.append(
            Row(
                batch=batch,
                state=batch.state(at, discarded=discarded > 0),
                at=at,
                left_kg=left,
                discarded_kg=discarded,
                fed=fed[batch.pk],
                check=checks.get(batch.pk),
                known=known.get(batch.pk),
                asked_kg=unwritten(batch, fed[batch.pk], checks.get(batch.pk), newest, least),
            )
        )
    return sorted(rows, key=place)


def least_asked(at: datetime) -> Decimal:
    """The kilos from which on a rest is asked for; a smaller one may be the scale's."""
    return values_on(local_day(at), "asked_above")["asked_above"]


def unwritten(
    batch: ForageBatch,
    fed: list[Fed],
    check: HeapCheck | None,
    newest: datetime,
    least: Decimal,
) -> Decimal:
    """Kilos of a load that nobody wrote down: neither fed, discarded, nor seen to lie there still.

    Asked once part of it was fed and a newer load is cut (``newest``: that cut). What somebody saw
    still lying there after that cut is accounted for.
    """
    left: Decimal = batch.left_kg  # type: ignore[attr-defined]
    if not fed or batch.happened_at >= newest:
        return Decimal(0)
    if check is not None and check.still_kg is not None and check.happened_at >= newest:
        left -= check.still_kg
    return left if left >= least else Decimal(0)


def clock(value: datetime | None, at: datetime) -> str:
    """A moment on the estate's clock, without its day when that is the day of ``at``."""
    words = moment(value)
    same = value is not None and local_day(value) == local_day(at)
    return words.rpartition(", ")[2] if same else words


def place(row: Row) -> tuple[int, datetime, int]:
    """Where a row stands: by state, the sooner deadline first."""
    return ORDER.index(row.state), row.batch.deadline or row.batch.happened_at, row.batch.pk


def fed_of(batches: list[ForageBatch], at: datetime) -> dict[int, list[Fed]]:
    """Standing feedings of loads up to ``at``, in order, by load."""
    deadlines = {batch.pk: batch.deadline for batch in batches}
    feedings = (
        Feeding.objects.happened_by(at)
        .filter(batch__in=deadlines)
        .select_related("group")
        .order_by("happened_at", "pk")
    )
    found: dict[int, list[Fed]] = defaultdict(list)
    for feeding in feedings:
        late = hours_late(feeding.happened_at, deadlines[feeding.batch_id])
        found[feeding.batch_id].append(Fed(feeding=feeding, hours_late=late))
    return found


def latest_checks(batches: Iterable[ForageBatch], at: datetime) -> dict[int, HeapCheck]:
    """The latest standing probe of each load up to ``at``."""
    checks = (
        HeapCheck.objects.happened_by(at)
        .filter(batch__in=[batch.pk for batch in batches])
        .order_by("batch", "-happened_at", "-pk")
        .distinct("batch")
    )
    return {check.batch_id: check for check in checks}


def fed_groups(at: datetime) -> list[Group]:
    """Groups with animals in them at ``at``, by number: those that can be fed."""
    there = GroupStay.objects.at(at).filter(group=OuterRef("pk"))
    return list(Group.objects.standing().filter(Exists(there)).order_by("number"))
