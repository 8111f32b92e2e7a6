"""Moments in the sentences of refusals, on the estate's clock."""

from datetime import datetime

from django.utils import timezone


def milking_words(moment: datetime) -> str:
    """The start of a milking for people, as Sat 6 Jun 16:30."""
    at = timezone.localtime(moment)
    return f"{at:%a} {at.day} {at:%b} {at:%H:%M}"
