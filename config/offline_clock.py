"""By which clock an entry was written: a phone's clock may be wrong, and times are put right.

Pure: moments are aware and handed in. ``sending`` holds what the request that is being answered
says about its phone, as ``timezone.activate`` holds a zone.
"""

from contextvars import ContextVar
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from uuid import UUID

NONE = timedelta()


@dataclass(frozen=True, kw_only=True)
class Sent:
    """An entry that a phone kept and sends now.

    ``number``: the entry's number, made on the phone. ``user``: the id of who wrote it.
    ``written_at``: when, put right. ``shift``: what was added to the phone's times. ``sure``: no
    other shift is possible. ``texts``: the times of the body that are by the phone's clock, as
    they were sent; None: all of them.
    """

    number: UUID
    user: int
    device: str
    written_at: datetime
    shift: timedelta = NONE
    sure: bool = True
    texts: frozenset[str] | None = None

    @property
    def written_by_phone(self) -> datetime:
        """When it was written, as the phone's own clock said."""
        return self.written_at - self.shift

    def put_right(self, moment: datetime, text: str) -> datetime:
        """A moment of the body, by the right clock."""
        by_phone = self.texts is None or text in self.texts
        return moment + self.shift if self.shift and by_phone else moment


@dataclass(frozen=True, kw_only=True)
class Clocks:
    """What the phone says: its clock now, when it wrote, and how its clock stood before that.

    ``before``: what had to be added to its clock when it last spoke with the server, at
    ``contact`` by the server's clock; None when it does not know.
    """

    now: datetime
    written: datetime
    before: timedelta | None = None
    contact: datetime | None = None


sending: ContextVar[Sent | None] = ContextVar("sending", default=None)


def shift_of(clocks: Clocks, received: datetime, tolerance: timedelta) -> tuple[timedelta, bool]:
    """What to add to the times of an entry, in whole seconds, and whether that is sure.

    The difference measured now counts, if it is larger than ``tolerance``. Where the clock was set
    between the writing and now, it is the one of the two differences that puts the writing between
    the last contact and now; when both or neither do, the one of now, and that is not sure.
    """
    today = whole(received - clocks.now, tolerance)
    if clocks.before is None or abs(clocks.before - (received - clocks.now)) <= tolerance:
        return today, True
    earlier = whole(clocks.before, tolerance)
    fits = [
        shift for shift in (today, earlier) if could_be(clocks.written + shift, clocks, received)
    ]
    return (fits[0], True) if len(fits) == 1 else (today, False)


def could_be(written: datetime, clocks: Clocks, received: datetime) -> bool:
    """Whether an entry can have been written then: after the last contact, and not ahead."""
    slack = timedelta(minutes=1)
    return (clocks.contact or written) - slack <= written <= received + slack


def whole(difference: timedelta, tolerance: timedelta) -> timedelta:
    """A difference in whole seconds; none when it is within the tolerance."""
    if abs(difference) <= tolerance:
        return NONE
    return timedelta(seconds=round(difference.total_seconds()))


def shift_words(shift: timedelta) -> str:
    """A shift as people read it: "-3:00", "+0:12" in hours and minutes."""
    minutes = round(abs(shift.total_seconds()) / 60)
    return f"{'-' if shift < NONE else '+'}{minutes // 60}:{minutes % 60:02d}"


def utc(text: str) -> datetime:
    """An aware moment in ISO 8601. Raises ValueError for anything else."""
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(text)
    return moment.astimezone(UTC)
