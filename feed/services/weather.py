"""The air by the hour: the highest of a day follows from it, and from that the windows."""

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local_day
from config.entries import Stamp
from config.jobs import ask
from config.templatetags.sheet import moment
from feed.models import AirHour
from feed.services.deadlines import FLAG_TASK, recompute_day

# A forecast reaches so far; what lies further ahead is a slip of the pen.
FURTHEST_FORECAST = timedelta(days=16)
NOT_FULL = N_("{hour} is no full hour. Expected the hour with 00 minutes, such as 14:00.")
NOT_YET = N_("{hour} has not come yet. Measured air lies behind us; mark it as a forecast.")
TOO_FAR = N_("{hour} is more than {days} days ahead. Look at the day and the year.")


@transaction.atomic
def record_air(
    *, stamp: Stamp, hour: datetime, celsius: Decimal, forecast: bool = False, **fields: Any
) -> AirHour:
    """Write the air of one hour; loads cut that day get their window computed again.

    Raises ValidationError by field.
    """
    air = write_air(stamp=stamp, hour=hour, celsius=celsius, forecast=forecast, **fields)
    follow_air(hour)
    return air


def write_air(
    *, stamp: Stamp, hour: datetime, celsius: Decimal, forecast: bool = False, **fields: Any
) -> AirHour:
    """Write the air of one hour; the windows of its day are left to ``follow_air``."""
    check_hour(hour, timezone.now(), forecast=forecast)
    return entries.record(
        AirHour, stamp=stamp, hour=hour, celsius=celsius, forecast=forecast, **fields
    )


@transaction.atomic
def strike_air(air: AirHour, **why: Any) -> AirHour:
    """Strike the air of an hour; a day with an hour missing takes the cautious band."""
    struck = entries.strike(air, **why)
    follow_air(struck.hour)
    return struck


def follow_air(*hours: datetime) -> None:
    """What follows from new air: the windows of those days' loads."""
    days = {local_day(hour) for hour in hours}
    if sum(recompute_day(day) for day in sorted(days)):
        ask(FLAG_TASK)


def check_hour(hour: datetime, now: datetime, *, forecast: bool) -> None:
    """Refuse what is no full hour, or measured before it came. Raises ValidationError."""
    words = ""
    if hour.minute or hour.second or hour.microsecond:
        words = _(NOT_FULL).format(hour=moment(hour))
    elif hour > now and not forecast:
        words = _(NOT_YET).format(hour=moment(hour))
    elif hour > now + FURTHEST_FORECAST:
        words = _(TOO_FAR).format(hour=moment(hour), days=FURTHEST_FORECAST.days)
    if words:
        raise ValidationError({"hour": words})
