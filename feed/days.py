"""The estate's calendar: which day a moment belongs to."""

from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from django.conf import settings


def local_day(moment: datetime) -> date:
    """The estate's day of a moment."""
    return moment.astimezone(ZoneInfo(settings.TIME_ZONE)).date()


def start_of(day: date) -> datetime:
    """When a day begins on the estate's clock."""
    return datetime.combine(day, time(), tzinfo=ZoneInfo(settings.TIME_ZONE))


def day_words(day: date) -> str:
    """A day for reading, "Sun 24 May 2026"."""
    return f"{day:%a} {day.day} {day:%b %Y}"
