"""How long vats took from rennet to a firm clot, and which were slow beside those before. Reads.

Where nobody marked the clot, the cut stands for it; vats are compared with those timed alike.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import fmean

from django.utils.translation import gettext_noop as N_

from milk.figures import figures_on
from milk.models import MilkFigure, Vat
from milk.vat import is_slow

# Older vats than these are other milk and another season.
REACH = timedelta(days=30)
TO_CLOT, TO_CUT = N_("rennet to clot"), N_("rennet to cut")


@dataclass(frozen=True)
class SlowRule:
    """Slower than the mean of ``beside`` vats before by ``by`` minutes; none from under ``least``.

    The estate's rows in force; ``by`` None: nobody set one, and nothing is called slow.
    """

    by: float | None = None
    beside: int = 0
    least: int = 1


@dataclass(frozen=True)
class Clot:
    """Minutes from rennet, the mean of the vats before (None: too few), of how many, if slow."""

    minutes: float
    usual: float | None
    n: int
    is_slow: bool | None
    way: str = TO_CUT


def slow_rule(day: date) -> SlowRule:
    """The rule in force on a day; one statement."""
    figures, what = figures_on(day), MilkFigure.What
    by, beside, least = (
        figures.get(name) for name in (what.SLOW_BY, what.SLOW_BESIDE, what.SLOW_LEAST)
    )
    if by is None or beside is None:
        return SlowRule()
    return SlowRule(float(by.value), int(beside.value), int(least.value) if least else 1)


def clots_of(vats: Iterable[Vat]) -> dict[int, Clot]:
    """By vat (key), how it clotted; vats without both times are left out. Two statements."""
    asked = {vat.pk: vat.day for vat in vats if vat.set_at and (vat.clot_at or vat.cut_at)}
    if not asked:
        return {}
    first, last = min(asked.values()), max(asked.values())
    rule = slow_rule(last)
    timed = Vat.objects.standing().filter(set_at__isnull=False).exclude(clot_at=None, cut_at=None)
    rows = timed.filter(day__range=(first - REACH, last + timedelta(days=1))).order_by(
        "set_at", "pk"
    )
    found: dict[int, Clot] = {}
    earlier: dict[str, list[float]] = defaultdict(list)
    for vat, began, clot, cut in rows.values_list("pk", "set_at", "clot_at", "cut_at"):
        way = TO_CLOT if clot else TO_CUT
        minutes = ((clot or cut) - began).total_seconds() / 60
        if vat in asked:
            found[vat] = judged(minutes, earlier[way][-rule.beside :], rule, way)
        earlier[way].append(minutes)
    return found


def judged(minutes: float, before: list[float], rule: SlowRule, way: str) -> Clot:
    """A vat beside those before it; ``before`` is all of them where no rule says how many."""
    if rule.by is None:
        return Clot(minutes, None, 0, None, way)
    usual = fmean(before) if len(before) >= rule.least else None
    slow = is_slow(minutes, before, rule.by, rule.least)
    return Clot(minutes, usual, len(before), slow, way)
