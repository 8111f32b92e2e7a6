"""The dated rules of the book (withdrawal, breeding, udder, prices), read once for a page."""

from config.once_a_page import once_a_page
from herd.models import PeriodRule


@once_a_page
def standing_rules() -> tuple[PeriodRule, ...]:
    """Every standing row, the oldest first; some dozens in one statement."""
    return tuple(PeriodRule.objects.standing().order_by("valid_from", "pk"))
