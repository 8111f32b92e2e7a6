"""Days asked for in an address, such as ``?day=2026-06-09``."""

from collections.abc import Mapping
from datetime import date

from django.core.exceptions import ValidationError

from config.forms.fields import DayField


def day_asked(query: Mapping[str, str], name: str) -> date | None:
    """The day under a name of an address, None when it is left out or blank.

    Raises ValidationError at ``name`` for what is no day.
    """
    try:
        found: date | None = DayField(required=False).clean(query.get(name, ""))
    except ValidationError as error:
        raise ValidationError({name: error.messages}) from error
    return found
