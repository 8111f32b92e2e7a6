"""Days asked for in the addresses of the milk's pages."""

from datetime import date, timedelta

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext as _

from config.forms.fields import NO_DAY


def day_asked(text: str, otherwise: date, latest: date, name: str = "day") -> date:
    """The day of an address, no later than ``latest``; ``otherwise`` without one.

    Raises ValidationError at ``name`` for what is none.
    """
    if not text:
        return otherwise
    try:
        day = date.fromisoformat(text)
    except ValueError as error:
        raise ValidationError({name: _(NO_DAY).format(text=text[:20])}) from error
    if not 1900 <= day.year <= 2200:
        raise ValidationError({name: _(NO_DAY).format(text=text[:20])})
    return min(day, latest)


def tomorrow() -> date:
    """The day of the dairy that may have begun: its evening milk belongs to the next day."""
    return timezone.localdate() + timedelta(days=1)
