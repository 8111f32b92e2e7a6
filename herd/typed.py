"""Moments as people type them on the command line, on the estate's clock."""

from datetime import datetime

from config.days import estate_zone
from herd.planned import later_moment


def typed_moment(text: str) -> datetime:
    """A moment, of an hour that comes twice the later. Raises ValueError for what is none."""
    typed = datetime.fromisoformat(text)
    return typed if typed.tzinfo else later_moment(typed.date(), typed.time(), estate_zone())
