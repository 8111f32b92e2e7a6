"""The estate's clock and calendar: which day a moment belongs to, and how people read both."""

from datetime import UTC, date, datetime, time
from functools import cache, lru_cache
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils.dateformat import format as in_shape
from django.utils.translation import get_language, gettext
from django.utils.translation import gettext_noop as N_

# How days and moments are written stands in the catalogues, in the signs of Django's dates.

MOMENT = N_("Y-m-d H:i")
# The clock is the same for everybody: it is put into its place in the day.
CLOCK = "H:i"


@cache
def shape_in(language: str | None, signs: str) -> str:
    """How a day is written in a language; the catalogues do not change while a process lives."""
    return gettext(signs)


def shape(signs: str) -> str:
    """How a day is written in the reader's language. Lists of thousands ask for it."""
    return shape_in(get_language(), signs)


@lru_cache(maxsize=4096)
def day_in(language: str | None, signs: str, year: int, month: int, day: int) -> str:
    """A day as it is written in a language: a page names the same few days again and again."""
    return in_shape(date(year, month, day), shape_in(language, signs))


@lru_cache(maxsize=4096)
def around_clock(language: str | None, year: int, month: int, day: int) -> tuple[str, str]:
    """What is written before the clock of a moment in a language, and what behind it."""
    before, _clock, behind = shape_in(language, MOMENT).partition(CLOCK)
    return in_shape(date(year, month, day), before), in_shape(date(year, month, day), behind)


def day_shaped(day: date, signs: str) -> str:
    """A day by the signs of Django's dates, in the reader's form."""
    return day_in(get_language(), signs, day.year, day.month, day.day)


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
    """A moment in a sentence, as 2026-06-06 16:30 on the estate's clock, in the reader's form."""
    here = moment.astimezone(estate_zone())
    before, behind = around_clock(get_language(), here.year, here.month, here.day)
    return f"{before}{here:%H:%M}{behind}"


def shown_alike(moment: datetime) -> datetime | None:
    """The other moment that the clock shows as this one, in UTC; None when it shows it once."""
    local_moment = moment.astimezone(estate_zone())
    other = local_moment.replace(fold=1 - local_moment.fold).astimezone(UTC)
    back = other.astimezone(estate_zone())
    is_other = other != moment and back.replace(tzinfo=None) == local_moment.replace(tzinfo=None)
    return other if is_other else None


def day_words(day: date) -> str:
    """A day for reading, "Sun 24 May 2026", in the reader's form."""
    return day_shaped(day, N_("D j M Y"))


def day_in_figures(day: date) -> str:
    """A day in a sentence, as 2026-06-06, in the reader's form."""
    return day_shaped(day, N_("Y-m-d"))


def short_day(day: date) -> str:
    """A day of this year for reading, "Sun 24 May", in the reader's form."""
    return day_shaped(day, N_("D j M"))


def day_and_clock(moment: datetime, *, year: bool = False) -> str:
    """A moment for reading, "Sat 6 Jun, 16:30" of its own clock, in the reader's form."""
    day = day_words(moment.date()) if year else short_day(moment.date())
    return f"{day}, {moment.hour:02}:{moment.minute:02}"
