"""How much milk a cow gives at a milking, and where that figure is from.

The herd's own figure is her last recording. An app that measures more (meters) registers a source
in its own ``yields.py``; the newest source is asked first.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from herd.models import Animal, Recording

MILKINGS_A_DAY = 2
RECORDED = N_("her recording of {day}")


@dataclass(frozen=True)
class Yield:
    """kg at one milking, and in words where the figure is from."""

    kg: Decimal
    source: str


Source = Callable[[Animal, datetime], Yield | None]
_sources: list[Source] = []


def register(source: Source) -> None:
    """Ask this source before those known already; registered twice, it counts once."""
    if source not in _sources:
        _sources.insert(0, source)


def yield_of(animal: Animal, at: datetime) -> Yield | None:
    """What a cow gives at a milking about a moment; None when nobody has measured it."""
    for source in _sources:
        found = source(animal, at)
        if found is not None:
            return found
    return None


def recorded(animal: Animal, at: datetime) -> Yield | None:
    """Half of her last recorded day; of a day recorded by milking, the mean of its milkings."""
    weighed = Recording.objects.standing().filter(
        animal=animal, milk_kg__isnull=False, happened_at__lte=at
    )
    last = weighed.order_by("-happened_at", "session").first()
    if last is None:
        return None
    day = timezone.localdate(last.happened_at)
    source = _(RECORDED).format(day=day.isoformat())
    if not last.session:
        return Yield(last.milk_kg / MILKINGS_A_DAY, source)
    newest = weighed.exclude(session="").order_by("-happened_at")[:MILKINGS_A_DAY]
    of_day = [row.milk_kg for row in newest if timezone.localdate(row.happened_at) == day]
    return Yield(sum(of_day, Decimal(0)) / len(of_day), source)


register(recorded)
