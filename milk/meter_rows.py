"""Meter rows of a file beside those in the book: which of them are the same."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Exists, OuterRef
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.columns import Row
from config.loading import Strange
from herd.load_columns import CONTENT_NAMES
from herd.models import GroupStay, Recording
from herd.roster import Known
from milk.models import CowMilking, Milking

LACTATION = "lactation"
RECORDED = (LACTATION, *CONTENT_NAMES)
FIRST_EVENING_HOUR = 12
# The column that holds them is two bytes wide.
MOST_SECONDS = 32_767
WHICH_MILKING = N_("M (morning) or E (evening), or the time")

# Animal or group, day, session.
Key = tuple[int, date, str]


@dataclass(slots=True)
class Reading:
    """One row of a file, with what it names looked up.

    ``grams`` None: not measured. ``contents``: lactation and contents, empty when nothing but the
    weight was measured.
    """

    row: Row
    animal: Known
    group_id: int
    tank_id: int | None
    day: date
    session: str
    at: datetime | None
    grams: int | None
    goes: int
    contents: Mapping[str, Any]

    @property
    def key(self) -> Key:
        return self.animal.id, self.day, self.session


@dataclass(slots=True)
class Here:
    """A meter row that is in the book; ``recording``: what was measured besides, by column."""

    animal_id: int
    milking_id: int
    group_id: int
    grams: int | None
    goes: int
    at: datetime | None
    recording: dict[str, Any] = field(default_factory=dict)


@dataclass(eq=False)
class Target:
    """A milking of a group that rows belong to: one that is in the book, or one to be made."""

    start: datetime
    tank_id: int | None
    milking: Milking | None = None
    animals: set[int] = field(default_factory=set)
    rows: list[Reading] = field(default_factory=list)

    @property
    def written(self) -> Milking:
        """The milking, once it is in the book."""
        assert self.milking is not None
        return self.milking

    @property
    def pk(self) -> int:
        return self.written.pk

    def grams(self) -> int:
        """What the file adds to the tank."""
        return sum(row.grams or 0 for row in self.rows if row.goes == CowMilking.Goes.TANK)


def kilos(grams: int | None) -> Decimal:
    """Grams as kg, exactly; 0 when not measured."""
    return Decimal(grams or 0).scaleb(-3)


def session_of(row: Row) -> str:
    """The milking a row belongs to, by its word or else by its hour. Raises Strange."""
    if row["session"]:
        return str(row["session"])
    said = row["time"] or row["date"]
    hour = getattr(said, "hour", None)
    if hour is None:
        raise Strange("session", _(WHICH_MILKING))
    return "M" if hour < FIRST_EVENING_HOUR else "E"


def contents_of(row: Row, names: Iterable[str]) -> dict[str, Any]:
    """Lactation and contents of a row; empty when nothing was measured but the weight.

    ``names``: those of RECORDED that the file has.
    """
    said = {name: row[name] for name in names}
    measured = any(value is not None and name != LACTATION for name, value in said.items())
    return said if measured else {}


def order(reading: Reading) -> tuple[Any, ...]:
    """Rows of one cow at one milking in the order they are taken."""
    at = reading.at.timestamp() if reading.at else 0
    return at, reading.row["lactation"] or 0, reading.row.number


def may_be(reading: Reading, here: Here) -> bool:
    """Whether a row can be this one in the book: no other time, no other lactation."""
    if reading.at is not None and here.at is not None and reading.at != here.at:
        return False
    said, known = reading.row["lactation"], here.recording.get("lactation")
    return said is None or known is None or said == known


def seconds_after(start: datetime, at: datetime | None) -> int | None:
    """Whole seconds from the start of a milking; None when the time is not known or far off."""
    if at is None:
        return None
    seconds = int((at - start).total_seconds())
    return seconds if abs(seconds) <= MOST_SECONDS else None


def meter_rows(
    span: tuple[date, date], animals: Iterable[int]
) -> Iterator[tuple[Here, date, str, datetime]]:
    """The meter rows of some days, with the day, session and start of their milking."""
    columns = ("animal_id", "milking_id", "milking__group_id", "grams", "goes", "at_s")
    of_milking = ("milking__day", "milking__session", "milking__happened_at")
    found = CowMilking.objects.filter(
        milking__day__range=span, milking__struck_at=None, animal__in=animals
    )
    for row in found.values_list(*columns, *of_milking).iterator(chunk_size=5000):
        animal, milking, group, grams, goes, at_s, day, session, start = row
        at = None if at_s is None else start + timedelta(seconds=at_s)
        yield Here(animal, milking, group, grams, goes, at), day, session, start


def recordings_between(
    span: tuple[date, date], animals: Iterable[int]
) -> dict[tuple[int, datetime, str], dict[str, Any]]:
    """The standing recordings of some days, by animal, moment and session."""
    first, last = span
    near = Recording.objects.standing().filter(
        happened_at__date__range=(first, last), animal__in=animals
    )
    names = ("id", *RECORDED)
    return {
        (animal, at, session): dict(zip(names, values, strict=True))
        for animal, at, session, *values in near.values_list(
            "animal_id", "happened_at", "session", *names
        ).iterator(chunk_size=5000)
    }


def complete_milkings(milkings: Sequence[int]) -> set[int]:
    """Those of these milkings (keys) that have a meter row for every cow that stood in the group.

    As long as one is missing, the milking is one without meters: the cow may be in the tank.
    """
    without_row = GroupStay.objects.standing().filter(
        group=OuterRef("group"), during__contains=OuterRef("happened_at")
    ).exclude(
        Exists(
            CowMilking.objects.filter(
                milking=OuterRef(OuterRef("pk")), animal=OuterRef("animal")
            )
        )
    )  # fmt: skip
    found = Milking.objects.filter(pk__in=milkings).exclude(Exists(without_row))
    return set(found.values_list("pk", flat=True))
