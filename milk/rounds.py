"""Rounds of turning and brushing, aisle by aisle: which is next, which is over its time."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db import connection
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from config.days import local_day
from milk.brine_board import days_over
from milk.figures import figures_on
from milk.models import MilkFigure, StoreRound

What = MilkFigure.What
# An aisle nobody has turned yet counts from the day its first wheel was laid.
_AISLES = """
SELECT aisle.room, aisle.aisle, aisle.wheels, aisle.first, last.happened_at, last.what,
       last.name, COALESCE(open.findings, 0), shelves.happened_at
FROM (SELECT place.room, place.aisle, count(*) AS wheels, min(lies.at) AS first
      FROM milk_wheelplace AS lies JOIN milk_storeplace AS place ON place.id = lies.place_id
      GROUP BY place.room, place.aisle) AS aisle
LEFT JOIN LATERAL (
    SELECT done.happened_at, done.what, person.username AS name FROM milk_storeround AS done
    JOIN auth_user AS person ON person.id = done.by_id
    WHERE done.room = aisle.room AND done.aisle = aisle.aisle AND done.struck_at IS NULL
      AND done.what = ANY(%(turns)s) AND done.happened_at <= %(at)s
    ORDER BY done.happened_at DESC LIMIT 1) AS last ON true
LEFT JOIN LATERAL (
    SELECT done.happened_at FROM milk_storeround AS done
    WHERE done.room = aisle.room AND done.aisle = aisle.aisle AND done.struck_at IS NULL
      AND done.what = 'shelves' AND done.happened_at <= %(at)s
    ORDER BY done.happened_at DESC LIMIT 1) AS shelves ON true
LEFT JOIN (
    SELECT place.room, place.aisle, count(DISTINCT seen.wheel_id) AS findings
    FROM milk_storefinding AS seen
    JOIN milk_wheelplace AS lies ON lies.wheel_id = seen.wheel_id
    JOIN milk_storeplace AS place ON place.id = lies.place_id
    WHERE NOT seen.put_right AND seen.struck_at IS NULL AND seen.happened_at <= %(at)s
      AND NOT EXISTS (
        SELECT FROM milk_storefinding AS later
        WHERE later.wheel_id = seen.wheel_id AND later.struck_at IS NULL
          AND later.happened_at <= %(at)s
          AND (later.happened_at, later.id) > (seen.happened_at, seen.id))
    GROUP BY place.room, place.aisle
) AS open ON open.room = aisle.room AND open.aisle = aisle.aisle
"""
NOTHING = N_("Every aisle was turned in time.")


@dataclass(frozen=True, kw_only=True)
class AisleRound:
    """An aisle with wheels: when it was last turned, and what is due by the estate's days."""

    room: str
    aisle: int
    wheels: int
    since: datetime
    last: datetime | None
    what: str
    by: str
    findings: int
    today: date
    days: Decimal | None
    late: Decimal | None
    cleaned: datetime | None = None
    shelf_days: Decimal | None = None

    @property
    def name(self) -> str:
        return _("{room}, aisle {aisle}").format(room=self.room, aisle=self.aisle)

    @property
    def days_since(self) -> int:
        """Calendar days since it was turned, or since its first wheel was laid."""
        return (self.today - local_day(self.last or self.since)).days

    @property
    def over(self) -> int:
        """Days over its time; 0 or below while it is in time, or when the estate set none."""
        return self.days_since - int(self.days) if self.days is not None else 0

    @property
    def is_over(self) -> bool:
        return self.over > 0

    @property
    def is_told(self) -> bool:
        """Whether it is over for so long that somebody is told."""
        return self.late is not None and self.over > int(self.late)

    @property
    def due(self) -> date | None:
        """The last day on which it is in time."""
        if self.days is None:
            return None
        return local_day(self.last or self.since) + timedelta(days=int(self.days))

    @property
    def shelves_over(self) -> int | None:
        """Days over the time of its shelves, as ``over``; None when the estate set none."""
        if self.shelf_days is None:
            return None
        since = local_day(self.cleaned or self.since)
        return (self.today - since).days - int(self.shelf_days)

    @property
    def shelves_due(self) -> bool:
        """Whether its shelves are to be cleaned by today."""
        return self.shelves_over is not None and self.shelves_over >= 0

    @property
    def shelves_form(self) -> str:
        """The form of the word on a page; of shelves nobody wrote about none can say how late."""
        return "past" if self.cleaned and (self.shelves_over or 0) > 0 else "first"

    @property
    def shelves_word(self) -> str:
        if self.cleaned is None:
            return _("not written yet")
        over = self.shelves_over or 0
        return _("TODAY") if over == 0 else days_over(over)

    @property
    def done_today(self) -> bool:
        return self.days_since == 0 and self.last is not None

    @property
    def word(self) -> str:
        if self.done_today:
            return _("done today")
        if self.over > 0:
            return days_over(self.over)
        if self.days is None:
            return _("{days_since} days ago").format(days_since=self.days_since)
        return _("TODAY") if self.over == 0 else in_days(-self.over)

    @property
    def turn_word(self) -> str:
        """The word where nothing else says that it is about turning."""
        if self.done_today:
            return _("turned today")
        word = self.word
        return (
            _("turned {word}").format(word=word)
            if self.days is None
            else _("turn: {word}").format(word=word)
        )

    @property
    def form(self) -> str:
        if self.over > 0:
            return "past"
        return "first" if self.days is not None and self.over == 0 else "store"


def in_days(days: int) -> str:
    """In how many days it is due."""
    return ngettext("in {days} day", "in {days} days", days).format(days=days)


@dataclass(frozen=True)
class Rounds:
    """Every aisle that has wheels, the one that waits longest first."""

    at: datetime
    aisles: tuple[AisleRound, ...]

    @property
    def over(self) -> tuple[AisleRound, ...]:
        return tuple(aisle for aisle in self.aisles if aisle.is_over)

    @property
    def today(self) -> tuple[AisleRound, ...]:
        """What is to be turned today: over its time, or due on this day."""
        return tuple(a for a in self.aisles if a.days is not None and a.over >= 0)

    @property
    def shelves(self) -> tuple[AisleRound, ...]:
        """The aisles whose shelves are to be cleaned, those that wait longest first."""
        due = [aisle for aisle in self.aisles if aisle.shelves_due]
        return tuple(sorted(due, key=lambda aisle: -(aisle.shelves_over or 0)))

    @property
    def answer(self) -> str:
        """How many aisles are left today, in a sentence."""
        left = len(self.today)
        if not left:
            return _(NOTHING)
        over = len(self.over)
        said = ngettext("{left} aisle to turn today", "{left} aisles to turn today", left)
        said = said.format(left=left)
        return said + (
            ngettext(
                ", {over} of them over its time.", ", {over} of them over their time.", over
            ).format(over=over)
            if over
            else "."
        )


def rounds(at: datetime | None = None) -> Rounds:
    """How the rounds stand; two statements."""
    at = at or timezone.now()
    today = local_day(at)
    figures = figures_on(today)
    days, late = figures.get(What.ROUND_DAYS), figures.get(What.ROUND_LATE)
    shelf = figures.get(What.SHELF_DAYS)
    with connection.cursor() as cursor:
        cursor.execute(_AISLES, {"at": at, "turns": list(StoreRound.TURNS)})
        found = [
            AisleRound(
                room=room,
                aisle=aisle,
                wheels=wheels,
                since=first,
                last=last,
                what=what or "",
                by=name or "",
                findings=findings,
                today=today,
                days=days.value if days else None,
                late=late.value if late else None,
                cleaned=cleaned,
                shelf_days=shelf.value if shelf else None,
            )
            for room, aisle, wheels, first, last, what, name, findings, cleaned in cursor.fetchall()
        ]
    found.sort(key=lambda one: (-one.days_since, one.room, one.aisle))
    return Rounds(at, tuple(found))
