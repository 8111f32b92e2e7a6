"""The climate of the store's rooms: the last reading of each against the usual bands."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.utils import timezone
from django.utils.translation import gettext as _

from milk.bands import Band, band_words, out_since
from milk.figures import Dated
from milk.models import MilkFigure, RoomReading, StorePlace

What = MilkFigure.What
# So far back it is looked since when a room is out of its band.
LOOK_BACK = timedelta(days=14)


@dataclass(frozen=True)
class RoomNow:
    """A room: its last reading, in words, and since when the readings are out of the band."""

    room: str
    reading: RoomReading | None
    says: tuple[str, ...]
    out_since: datetime | None

    def hours_out(self, at: datetime) -> float:
        """Hours the readings have been out of the band at ``at``."""
        return (at - self.out_since).total_seconds() / 3600 if self.out_since else 0.0

    @property
    def answer(self) -> str:
        """The room in a sentence."""
        if self.reading is None:
            return _("no reading is written")
        return ", ".join(self.says)


def bands_on(figures: Dated, day: date) -> tuple[Band, Band]:
    """The bands of temperature and humidity on a day."""
    return (
        Band(figures.value(What.ROOM_COLD, day), figures.value(What.ROOM_WARM, day)),
        Band(figures.value(What.ROOM_DRY, day), figures.value(What.ROOM_DAMP, day)),
    )


def says(reading: RoomReading, figures: Dated) -> tuple[str, ...]:
    """What a reading says, in words."""
    warmth, damp = bands_on(figures, timezone.localdate(reading.happened_at))
    told = (("", reading.temperature, "°C", warmth), ("humidity", reading.humidity, "%", damp))
    return tuple(
        band_words(name, value, unit, band).strip()
        for name, value, unit, band in told
        if value is not None
    )


def rooms_now(at: datetime, figures: Dated | None = None) -> list[RoomNow]:
    """Every room of the store with its climate at ``at``; three statements."""
    figures = figures or Dated()
    rooms = rooms_of_store()
    readings = RoomReading.objects.standing().filter(
        happened_at__lte=at, happened_at__gt=at - LOOK_BACK, room__in=rooms
    )
    by_room: dict[str, list[RoomReading]] = {room: [] for room in rooms}
    for reading in readings.order_by("-happened_at", "-id"):
        by_room[reading.room].append(reading)
    return [room_now(room, by_room[room], figures) for room in rooms]


def room_now(room: str, readings: Sequence[RoomReading], figures: Dated) -> RoomNow:
    """A room with its readings, the latest first."""
    if not readings:
        return RoomNow(room, None, (), None)
    since = [
        moment
        for name in ("temperature", "humidity")
        if (moment := out_since(measured(readings, name, figures))) is not None
    ]
    return RoomNow(room, readings[0], says(readings[0], figures), min(since, default=None))


def measured(
    readings: Sequence[RoomReading], name: str, figures: Dated
) -> Iterator[tuple[datetime, bool]]:
    """(moment, out of its band) of every reading of one measure."""
    for reading in readings:
        value = getattr(reading, name)
        if value is not None:
            warmth, damp = bands_on(figures, timezone.localdate(reading.happened_at))
            yield reading.happened_at, (warmth if name == "temperature" else damp).is_out(value)


def rooms_of_store() -> list[str]:
    """The names of the rooms, in order."""
    places = StorePlace.objects.standing().order_by("room")
    return list(places.values_list("room", flat=True).distinct())
