"""How long milk can still be stopped: minutes left until vats are lifted and trays are poured.

Estimated from the dairy's own last days, because nobody plans it to the minute; with no history
there is no figure.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median

from django.db.models import Min
from django.utils.translation import gettext as _

from milk.models import Tray, Vat, VatFill

# So many of the newest makes tell how long one takes.
MOST = 60
LATELY = timedelta(days=30)


@dataclass(frozen=True)
class Left:
    """A vat in the make or a tray that was not poured, and until when; None: not known."""

    name: str
    url: str
    until: datetime | None

    def minutes(self, at: datetime) -> int | None:
        """Whole minutes left at a moment, 0 when it is past; None when nobody can say."""
        if self.until is None:
            return None
        return max(0, int((self.until - at).total_seconds() // 60))


def vats_left(vats: Iterable[Vat], at: datetime) -> list[Left]:
    """When vats in the make will be lifted, by how long the last ones took; the next first."""
    takes = usual_make(at)
    found = [
        Left(str(vat), vat.get_absolute_url(), vat.happened_at + takes if takes else None)
        for vat in vats
    ]
    return in_order(found)


def usual_make(at: datetime) -> timedelta | None:
    """The median time from the filling to the lift of the last makes; None without any."""
    lifted = Vat.objects.standing().filter(
        happened_at__gt=at - LATELY, lifted_at__isnull=False, lifted_at__lte=at
    )
    newest = lifted.order_by("-happened_at").values_list("happened_at", "lifted_at")[:MOST]
    return middle(end - begin for begin, end in newest if end and end > begin)


def trays_left(numbers: Iterable[str], at: datetime) -> list[Left]:
    """When trays will be poured, by how long the last ones stood. ``numbers``: as people say."""
    names = {_("tray {number}").format(number=number): number for number in numbers}
    stands = usual_creaming(at)
    found = []
    for name, number in names.items():
        tray = Tray.objects.standing().filter(number=number, happened_at__lte=at)
        filled = tray.order_by("-happened_at").values_list("happened_at", flat=True).first()
        found.append(Left(name, "", filled + stands if filled and stands else None))
    return in_order(found)


def usual_creaming(at: datetime) -> timedelta | None:
    """The median time from the filling of a tray to its first pour; None without any."""
    poured = (
        VatFill.objects.standing()
        .filter(tray__isnull=False, happened_at__gt=at - LATELY, happened_at__lte=at)
        .values("tray_id", "tray__happened_at")
        .annotate(first=Min("happened_at"))
        .order_by("-first")[:MOST]
    )
    return middle(row["first"] - row["tray__happened_at"] for row in poured)


def middle(lengths: Iterable[timedelta]) -> timedelta | None:
    """The median of several lengths of time; None without any."""
    seconds = [length.total_seconds() for length in lengths]
    return timedelta(seconds=median(seconds)) if seconds else None


def in_order(found: list[Left]) -> list[Left]:
    """What must be stopped first comes first; what nobody can say, at the top."""
    unsure = [left for left in found if left.until is None]
    timed = [(left.until, left.name, left) for left in found if left.until is not None]
    return [*unsure, *(left for _, _, left in sorted(timed, key=lambda one: one[:2]))]
