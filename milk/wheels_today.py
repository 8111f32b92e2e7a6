"""The wheels of a day: whether vats, twins and plates match, and what was weighed."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from milk.figures import figures_on
from milk.limits import plain
from milk.models import MilkFigure, Vat, Wheel
from milk.recipes import pick, recipes_on, wheels_of
from milk.vat_yields import Yield, yields_of

NOT_NUMBERED = N_("lifted, no wheel numbered")
MISSING = N_("{there} of {expected} wheels numbered")
SKIPPED = N_("plate {plate} does not follow {before}: was one skipped, broken or used twice?")
TOO_LIGHT = N_("{twin} {plate} weighs {kg} kg, a new wheel usually at least {bound} kg")
TOO_HEAVY = N_("{twin} {plate} weighs {kg} kg, a new wheel usually at most {bound} kg")
# A weight after a day is due; before that the wheel stands in its mould.
WEIGHED_AFTER = timedelta(hours=24)


@dataclass(kw_only=True)
class Twins:
    """A vat and its wheels, A first; ``wrong``: what does not match, in words.

    ``weights``: which weights are not those of a new wheel, in words.
    """

    vat: Vat
    expected: int
    wheels: list[Wheel] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    weights: list[str] = field(default_factory=list)
    made: Yield | None = None

    def unweighed(self, at: datetime) -> list[Wheel]:
        """The wheels whose weight after a day is due and missing."""
        return [
            wheel
            for wheel in self.wheels
            if wheel.kg is None and wheel.happened_at + WEIGHED_AFTER <= at
        ]

    @property
    def apart(self) -> Decimal | None:
        """kg between the heaviest and the lightest twin; None unless all are weighed."""
        weights = [wheel.kg for wheel in self.wheels if wheel.kg is not None]
        return max(weights) - min(weights) if len(weights) > 1 else None


def wheels_of_day(day: date, at: datetime) -> tuple[list[Twins], str]:
    """The vats of a day with their wheels, and what expected yields rest on. Few statements."""
    vats = list(Vat.objects.standing().filter(day=day).order_by("round", "number"))
    of_vat: dict[int, list[Wheel]] = defaultdict(list)
    for wheel in Wheel.objects.standing().filter(vat__in=vats).order_by("twin"):
        of_vat[wheel.vat_id].append(wheel)
    yields = yields_of(vats, day)
    made = {one.vat.pk: one for one in yields.rows}
    recipes = recipes_on(day)
    found = [
        Twins(
            vat=vat,
            expected=wheels_of(pick(recipes, vat.recipe, vat.day)),
            wheels=of_vat[vat.pk],
            made=made.get(vat.pk),
        )
        for vat in vats
    ]
    light, heavy = usual_weights(day)
    for one in found:
        one.wrong = mismatch(one)
        one.weights = odd_weights(one, light, heavy)
    say_skipped(found)
    return found, yields.words


def usual_weights(day: date) -> tuple[Decimal | None, Decimal | None]:
    """What a new wheel usually weighs, at least and at most; None where no row says."""
    figures, what = figures_on(day), MilkFigure.What
    light, heavy = figures.get(what.WHEEL_LIGHT), figures.get(what.WHEEL_HEAVY)
    return light.value if light else None, heavy.value if heavy else None


def odd_weights(one: Twins, light: Decimal | None, heavy: Decimal | None) -> list[str]:
    """The wheels lighter or heavier than a new wheel usually is, in words."""
    words = []
    for wheel in one.wheels:
        if wheel.kg is None:
            continue
        said = {"twin": wheel.twin, "plate": wheel.plate, "kg": plain(wheel.kg, 1)}
        if light is not None and wheel.kg < light:
            words.append(_(TOO_LIGHT).format(bound=plain(light), **said))
        if heavy is not None and wheel.kg > heavy:
            words.append(_(TOO_HEAVY).format(bound=plain(heavy), **said))
    return words


def mismatch(one: Twins) -> list[str]:
    """What does not match between a vat and its wheels."""
    there = len(one.wheels)
    if there == one.expected or (not there and one.vat.lifted_at is None):
        return []
    if not there:
        return [_(NOT_NUMBERED)]
    return [_(MISSING).format(there=there, expected=one.expected)]


def say_skipped(found: Iterable[Twins]) -> None:
    """Say at which vat the day's plates, in the order of the lift, do not follow one another."""
    before: Wheel | None = None
    numbered = [one for one in found if one.wheels and all(w.plate.isdigit() for w in one.wheels)]
    for one in sorted(numbered, key=lambda one: min(int(w.plate) for w in one.wheels)):
        for wheel in sorted(one.wheels, key=lambda wheel: int(wheel.plate)):
            if before is not None and int(wheel.plate) != int(before.plate) + 1:
                one.wrong.append(_(SKIPPED).format(plate=wheel.plate, before=before.plate))
            before = wheel


def said(found: Iterable[Twins], at: datetime) -> str:
    """The day's wheels in a sentence."""
    rows = list(found)
    wheels = sum(len(one.wheels) for one in rows)
    wrong = sum(bool(one.wrong) for one in rows)
    due = sum(len(one.unweighed(at)) for one in rows)
    odd = sum(len(one.weights) for one in rows)
    match = (
        _("{wrong} vats to look at").format(wrong=wrong)
        if wrong
        else _("vats, twins and plates match")
    )
    weights = _("; {due} to weigh").format(due=due) if due else ""
    weights += _("; {odd} of unusual weight").format(odd=odd) if odd else ""
    return _("{wheels} wheels of {vats} vats: {match}{weights}.").format(
        wheels=wheels, vats=plain(Decimal(len(rows))), match=match, weights=weights
    )
