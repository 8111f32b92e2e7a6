"""What vats yielded beside what fat and casein let expect: own regression of the last vats."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Count, OuterRef, Q, Subquery, Sum
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from milk.figures import figures_on
from milk.limits import plain
from milk.models import MilkFigure, Vat, VatFill, Wheel
from milk.vat import Fit, Make, casein_of, fit, yield_per_100

NOT_ENOUGH = N_(
    "No yield is expected yet: {n} vats have milk, fat, casein and weighed wheels; {least} are "
    "needed."
)
NO_ROW = N_("No yield is expected: no row says from how many vats.")
FITTED = N_(
    "Expected from the last {n} vats: {explained} % of the differences follow fat and casein."
)


@dataclass(frozen=True)
class Yield:
    """A vat's kg of cheese for 100 kg of milk; ``residual`` in per cent of the expected yield."""

    vat: Vat
    milk: Decimal
    cheese: Decimal
    per_100: Decimal
    expected: float | None = None
    residual: float | None = None
    is_low: bool = False


@dataclass(frozen=True)
class Yields:
    """Vats with their yields, and the fit they are held against; None: too few vats for one."""

    rows: list[Yield]
    fit: Fit | None
    words: str


def yields_of(vats: Sequence[Vat], day: date) -> Yields:
    """The yields of these vats, held against the vats before ``day``. Three statements."""
    figures, what = figures_on(day), MilkFigure.What
    share, least = figures.get(what.CASEIN_SHARE), figures.get(what.YIELD_LEAST)
    most, low = figures.get(what.YIELD_VATS), figures.get(what.YIELD_LOW)
    part = share.value if share else None
    before = weighed(Vat.objects.standing().filter(day__lt=day))
    last = list(before.order_by("-day", "-id")[: int(most.value) if most else 0])
    makes = [make for vat in last if (make := make_of(vat, part)) is not None]
    found = fit(makes, int(least.value)) if least else None
    rows = weighed(Vat.objects.filter(pk__in=[vat.pk for vat in vats])).order_by("number")
    yields = [yield_of(vat, part, found, low.value if low else None) for vat in rows]
    return Yields(yields, found, words_of(found, len(makes), least))


def weighed(vats: Any) -> Any:
    """Of vats, those whose wheels are all weighed, with ``milk`` and ``cheese`` in kg."""
    standing = Wheel.objects.filter(vat=OuterRef("pk"), struck_at=None).order_by().values("vat")
    cheese = standing.annotate(
        whole=Sum("kg"), made=Count("pk"), blank=Count("pk", filter=Q(kg=None))
    ).filter(blank=0)
    fills = VatFill.objects.filter(vat=OuterRef("pk"), struck_at=None).order_by().values("vat")
    return vats.annotate(
        cheese=Subquery(cheese.values("whole")),
        made=Subquery(cheese.values("made")),
        milk=Subquery(fills.annotate(whole=Sum("kg")).values("whole")),
    ).filter(cheese__isnull=False, milk__gt=0)


def make_of(vat: Any, share: Decimal | None) -> Make | None:
    """A vat as the regression takes it; None without fat or casein."""
    casein = vat.casein if share is None else casein_of(vat.casein, vat.protein, share)
    per_100 = yield_per_100(vat.cheese, vat.milk)
    if vat.fat is None or casein is None or per_100 is None:
        return None
    return Make(float(vat.fat), float(casein), float(per_100))


def yield_of(vat: Any, share: Decimal | None, found: Fit | None, low: Decimal | None) -> Yield:
    """One vat's yield beside what is expected of it."""
    make = make_of(vat, share)
    per_100 = yield_per_100(vat.cheese, vat.milk)
    assert per_100 is not None
    if found is None or make is None:
        return Yield(vat, vat.milk, vat.cheese, per_100)
    residual = found.residual(make)
    is_low = low is not None and residual < -float(low)
    expected = found.expected(make.fat, make.casein)
    return Yield(vat, vat.milk, vat.cheese, per_100, expected, residual, is_low)


def words_of(found: Fit | None, n: int, least: MilkFigure | None) -> str:
    """What the expected yields rest on, in a sentence."""
    if least is None:
        return _(NO_ROW)
    if found is None:
        return _(NOT_ENOUGH).format(n=n, least=plain(least.value))
    return _(FITTED).format(n=found.n, explained=round(found.explained * 100))
