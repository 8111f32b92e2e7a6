"""Files of hourly air temperatures, from whichever thermometer or weather service."""

from dataclasses import replace
from datetime import date, datetime, time
from functools import partial
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import cells, entries
from config.cells import CellError, Reading
from config.columns import DAY, NUMBER, Column, Row
from config.days import estate_zone
from config.errors import Refused, as_validation_error
from config.loading import Load, Loader, Strange, moment_of
from feed.models import AirHour
from feed.services.weather import FURTHEST_FORECAST, check_hour, follow_air, write_air

HOUR_NEEDED = N_("the day and the hour")
GIVEN_TWICE = N_("each hour once; row {row} gives this one too")
MIDNIGHT = time(0)


def coming(text: str, reading: Reading) -> date | datetime | None:
    """A day or moment, also one of the next days: a weather file may reach ahead."""
    return cells.when(text, replace(reading, now=reading.now + FURTHEST_FORECAST))


class WeatherFile:
    """Air temperatures by the hour, on their way into the book."""

    def __init__(self, load: Load) -> None:
        self.load = load
        self.seen: dict[datetime, int] = {}
        self.hours: dict[int, datetime] = {}
        self.written: list[datetime] = []
        self.here: dict[tuple[datetime, bool], AirHour] = {}

    def take(self) -> None:
        """Write the file, then compute the windows of its days once."""
        self.load.judge(self.find_hour)
        for start in range(0, len(self.seen), 5000):
            hours = list(self.seen)[start : start + 5000]
            for air in AirHour.objects.standing().filter(hour__in=hours):
                self.here[air.hour, air.forecast] = air
        self.load.judge(self.take_row)
        follow_air(*self.written)

    def find_hour(self, row: Row) -> None:
        """Find the moment of a row. Raises Strange.

        Of the hour that comes twice in autumn the first row is the first of the two.
        """
        if row["time"] is None and not isinstance(row["hour"], datetime):
            raise Strange("hour", _(HOUR_NEEDED))
        try:
            hour = moment_of(row["hour"], row["time"] or MIDNIGHT)
        except CellError as error:
            raise Strange("hour", error.expected) from error
        if hour in self.seen:
            second = hour.astimezone(estate_zone()).replace(fold=1)
            if second.utcoffset() == hour.astimezone(estate_zone()).utcoffset():
                raise Strange("hour", _(GIVEN_TWICE).format(row=self.seen[hour]))
            hour = second
        self.seen[hour] = row.number
        self.hours[row.number] = hour

    def take_row(self, row: Row) -> None:
        """Write an hour, or write it again. Raises Strange."""
        hour, now = self.hours[row.number], self.load.request.now
        forecast = hour > now if row["forecast"] is None else bool(row["forecast"])
        old = self.here.get((hour, forecast))
        if old is not None and old.celsius == row["celsius"]:
            self.load.same(row)
            return
        told = {"celsius": (old.celsius, row["celsius"])} if old else {}
        if old is not None and not self.load.changed(row, str(old), told):
            return
        values: dict[str, Any] = {"celsius": row["celsius"], "forecast": forecast}
        try:
            with transaction.atomic():
                check_hour(hour, now, forecast=forecast)
                stamp = self.load.stamp(min(hour, now))
                if old is not None:
                    entries.strike(old, by=stamp.by, reason="quantity", words=self.load.words())
                    stamp = replace(stamp, replaces=old)
                write_air(stamp=stamp, hour=hour, source=self.load.request.name[:80], **values)
        except (ValidationError, Refused) as error:
            words = as_validation_error(error)
            assert words is not None
            raise Strange("hour", " ".join(words.messages).rstrip(".")) from error
        self.written.append(hour)
        if old is None:
            self.load.new(row)


AIR_HOURS = Loader(
    kind="air-hours",
    title=N_("air temperatures by the hour"),
    key="the full hour",
    columns=(
        Column(
            name="hour",
            names=("moment", "date", "day", "date time", "timestamp"),
            read=coming,
            looks=DAY,
            required=True,
        ),
        Column(name="time", names=("clock", "at"), read=cells.clock),
        Column(
            name="celsius",
            names=("air", "temperature", "air temperature", "temp", "air c"),
            read=partial(cells.number, least=-40, most=55, places=1),
            looks=NUMBER,
            required=True,
        ),
        Column(name="forecast", read=cells.yes_no),
    ),
    take=lambda load: WeatherFile(load).take(),
)
