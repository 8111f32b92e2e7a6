"""Moments in the sentences of refusals, on the estate's clock."""

from datetime import datetime

from django.utils import timezone


def local(moment: datetime) -> str:
    """A moment for people, as 2026-06-06 16:30."""
    return timezone.localtime(moment).strftime("%Y-%m-%d %H:%M")


def milking_words(moment: datetime) -> str:
    """The start of a milking for people, as Sat 6 Jun 16:30."""
    at = timezone.localtime(moment)
    return f"{at:%a} {at.day} {at:%b} {at:%H:%M}"
