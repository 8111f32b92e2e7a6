"""The estate's clock and calendar: which day a moment belongs to, and how people read both."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from django.conf import settings


def estate_zone() -> ZoneInfo:
    """The zone of the estate's clock."""
    return ZoneInfo(settings.TIME_ZONE)


def local_day(moment: datetime) -> date:
    """The estate's day of a moment."""
    return moment.astimezone(estate_zone()).date()


def start_of(day: date) -> datetime:
    """The moment a day begins on the estate's clock, in UTC."""
    return datetime.combine(day, time(), estate_zone()).astimezone(UTC)


def local(moment: datetime) -> str:
    """A moment in a sentence, as 2026-06-06 16:30 on the estate's clock."""
    return f"{moment.astimezone(estate_zone()):%Y-%m-%d %H:%M}"


def shown_alike(moment: datetime) -> datetime | None:
    """The other moment that the clock shows as this one, in UTC; None when it shows it once."""
    local_moment = moment.astimezone(estate_zone())
    other = local_moment.replace(fold=1 - local_moment.fold).astimezone(UTC)
    back = other.astimezone(estate_zone())
    is_other = other != moment and back.replace(tzinfo=None) == local_moment.replace(tzinfo=None)
    return other if is_other else None


def day_words(day: date) -> str:
    """A day for reading, "Sun 24 May 2026"."""
    return f"{day:%a} {day.day} {day:%b %Y}"
