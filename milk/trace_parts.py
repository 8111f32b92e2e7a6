"""What a trace is made of: lots, milkings, animals, feed, vats and wheels, as plain values.

Built by ``milk.trace_back`` and ``milk.trace_forward`` from rows, told by ``milk.trace_words`` and
``milk.trace_json``. kg are floats, moments aware, ``pk`` database keys and ``uuid`` the numbers
that people and programs use.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import NamedTuple
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from herd.models.groups import Session
from milk.trace_sql import LotRow


def animal_name(number: int | None, tag: str) -> str:
    """What people call an animal: her farm number, else her ear tag."""
    return f"{number:04d}" if number else tag


def vat_name(day: date, number: int, round_: int) -> str:
    """“vat 2026-06-09/17”, with the round when it is the second."""
    return _("vat {day}/{number}").format(day=day, number=number) + (
        "" if round_ == 1 else f"/{round_}"
    )


def hours_late(at: datetime, deadline: datetime | None) -> float | None:
    """Hours after the deadline; 0 when in time, None when there is no deadline."""
    if deadline is None:
        return None
    return max((at - deadline).total_seconds() / 3600, 0.0)


class Period(NamedTuple):
    """A withdrawal period.

    ``until`` None: nobody knows when she is back; ``since`` None: nor when it began.
    """

    animal: int
    since: datetime | None
    until: datetime | None
    kind: str
    why: str
    source: UUID
    course: int | None

    def holds(self, at: datetime) -> bool:
        begun = self.since is None or self.since <= at
        return begun and (self.until is None or at < self.until)

    def turns(self, start: datetime, length: timedelta) -> bool:
        """Whether it begins or ends within ``length`` after ``start``."""
        end = start + length
        return any(turn is not None and start < turn <= end for turn in (self.since, self.until))


class WheelIn(NamedTuple):
    """A wheel of a vat; kg at 24 h, None when not weighed."""

    pk: int
    uuid: UUID
    plate: str
    twin: str
    kg: float | None
    vat_id: int


@dataclass(slots=True)
class MilkingIn:
    """A group's milking, and the lots of the answer it is in with kg.

    ``by_mistake``: not of the group, only of the cow that was milked into a tank by mistake.
    """

    pk: int
    uuid: UUID
    group_id: int
    group: int
    started_at: datetime
    day: date
    session: str
    metered: bool
    tank_id: int | None = None
    lots: list[tuple[str, float | None]] = field(default_factory=list)
    by_mistake: bool = False

    @property
    def name(self) -> str:
        if self.by_mistake:
            return _("by mistake, {day}").format(day=self.day)
        return _("group {group}, {day} {label}").format(
            group=self.group, day=self.day, label=Session(self.session).label
        )

    @property
    def kg(self) -> float | None:
        """kg of it in the thing; None when a lot's weight is not known."""
        known = [kg for _, kg in self.lots if kg is not None]
        return sum(known) if known else None


@dataclass(slots=True)
class LotIn:
    """A lot with the kg of its own milk in the thing.

    ``parents``: (code, kg) of what it found in the tank; ``carried_into``: codes of lots of this
    answer that found milk of it.
    """

    row: LotRow
    kg: float
    share: float
    parents: list[tuple[str, float]]
    carried_into: list[str]


# A cell count in thousands per ml: when it was taken, until when it was the latest, the count.
Count = tuple[datetime, datetime | None, float]


class CowAt(NamedTuple):
    """An animal at one milking: kg in the thing, latest cell count then, periods open then.

    ``weighed`` False: no meter, her kg are an equal part of what the group gave.
    """

    milking: MilkingIn
    lot: str
    kg: float | None
    weighed: bool
    cells: Count | None
    withheld: Sequence[Period]


@dataclass(slots=True)
class CowIn:
    """An animal and her milkings in the thing."""

    pk: int
    uuid: UUID
    name: str
    ear_tag: str
    kg: float | None
    milkings: list[CowAt]

    @property
    def withheld(self) -> bool:
        """Whether she was inside a withdrawal period at any of them."""
        return any(at.withheld for at in self.milkings)

    @property
    def weighed(self) -> bool:
        return all(at.weighed for at in self.milkings)

    @property
    def by_mistake(self) -> bool:
        """Whether nothing but mistakes put her milk into it."""
        return all(at.milking.by_mistake for at in self.milkings)

    @property
    def cells(self) -> Count | None:
        """The latest cell count at the latest of her milkings."""
        return max(self.milkings, key=lambda at: at.milking.started_at).cells


@dataclass(slots=True)
class FedTo:
    """One feeding: group number, when, kg, hours after the deadline, the milkings it was before."""

    group: int
    at: datetime
    kg: float
    weighed: bool
    hours_late: float | None
    milkings: list[MilkingIn]


@dataclass(slots=True)
class FeedIn:
    """A load of grass or a feed lot; ``origin``: its field, or the supplier of a feed lot.

    ``open``: something is left of a load, and nobody wrote where it went.
    """

    kind: str
    pk: int
    uuid: UUID
    label: str
    origin: str
    at: datetime
    deadline: datetime | None
    open: bool
    fed: list[FedTo] = field(default_factory=list)

    @property
    def name(self) -> str:
        if self.kind == "load":
            return _("load {pk}, {origin}").format(pk=self.pk, origin=self.origin)
        return f"{_(self.kind)} {self.label}"

    @property
    def kg(self) -> float:
        return sum(fed.kg for fed in self.fed)

    @property
    def groups_said(self) -> str:
        """“groups 3, 5”."""
        return numbered(fed.group for fed in self.fed)

    @property
    def hours_late(self) -> float | None:
        """Of the latest feeding; None when it has no deadline."""
        known = [fed.hours_late for fed in self.fed if fed.hours_late is not None]
        return max(known) if known else None


@dataclass(slots=True)
class MayFed:
    """A group that may have had of a load: when it was fed in its hours, the milkings after."""

    group_id: int
    group: int
    first: datetime
    last: datetime
    milkings: list[MilkingIn]


@dataclass(slots=True)
class MayFeed:
    """A load whose rest nobody wrote; ``kg``: all of the rest, for nobody knows who had it.

    Until somebody answers, every group in ``groups`` may have had it.
    """

    pk: int
    uuid: UUID
    origin: str
    at: datetime
    deadline: datetime | None
    kg: float
    groups: list[MayFed] = field(default_factory=list)

    @property
    def name(self) -> str:
        return _("load {pk}, {origin}").format(pk=self.pk, origin=self.origin)

    @property
    def groups_said(self) -> str:
        """“group 2”, “groups 2, 4”."""
        return numbered({fed.group for fed in self.groups})

    @property
    def hours_late(self) -> float | None:
        """Of the latest feeding that may have been of it; None when it has no deadline."""
        last = max(fed.last for fed in self.groups)
        return hours_late(last, self.deadline)


def numbered(groups: Iterable[int]) -> str:
    """Groups by number, “groups 3, 5”."""
    numbers = sorted(set(groups))
    return ngettext("group {numbers}", "groups {numbers}", len(numbers)).format(
        numbers=", ".join(map(str, numbers))
    )
