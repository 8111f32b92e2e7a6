"""Days in the rows of the breeding lists."""

from datetime import date


def day_words(day: date) -> str:
    """A day for people, as Thu 19 Nov 2026."""
    return f"{day:%a} {day.day} {day:%b %Y}"
