"""The day's fat to casein: where it stands, where it ends, and what skimming can still change."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from statistics import median

from django.db.models import Exists, OuterRef
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.once_a_page import once_a_page
from milk.answers import latest_tests
from milk.figures import figures_on
from milk.hall_milk import Standing, hall_milk
from milk.limits import plain
from milk.models import MilkFigure, MilkLot, Tank, Vat, Wheel
from milk.models.limits import What
from milk.vat import (
    Milk,
    casein_of,
    cream_to_take,
    day_ratio,
    evening_fat,
    forecast,
    ratio,
    ratio_left,
    ratio_of,
)

# How many vats a day has, by the days before it.
HABIT = timedelta(days=7)
NONE_YET = N_("No vat of this day has its fat and casein yet.")
STANDS = N_("{made} of about {planned} vats: fat to casein {mean}")
ENDS = N_("the day ends at about {forecast} (at most {most})")
OVER = N_("{made} vats, fat to casein {mean}: over {most}, and no vat is left to mend it with.")
MEND = N_("the {still} vats still to fill need {each} each for the day to end at {aim}")


@dataclass(frozen=True)
class VatRatio:
    """A vat and its fat to casein; None when its fat or casein is not written."""

    vat: Vat
    ratio: Decimal | None


@dataclass(kw_only=True)
class DayMake:
    """A day's vats. ``planned``: as many as there are, or as the days before had.

    ``expected``: the ratio of what still stands in trays and tanks, as it is; None: not known.
    ``like_yesterday``: no morning milk is there yet; what to skim is reckoned with the last one's.
    Bounds are None where no row sets them.
    """

    day: date
    vats: list[VatRatio]
    planned: int
    most: Decimal | None = None
    aim: Decimal | None = None
    near: Decimal = Decimal(0)
    told_from: Decimal | None = None
    expected: Decimal | None = None
    standing: list[Standing] = field(default_factory=list)
    like_yesterday: bool = False

    @property
    def ratios(self) -> list[Decimal]:
        return [one.ratio for one in self.vats if one.ratio is not None]

    @property
    def still(self) -> int:
        """Vats still to be filled."""
        return max(0, self.planned - len(self.vats))

    @property
    def mean(self) -> Decimal | None:
        return day_ratio(self.ratios)

    @property
    def forecast(self) -> Decimal | None:
        """Where the day ends if what stands is poured as it is, or like the vats so far."""
        each = self.expected if self.expected is not None else self.mean
        return None if each is None else forecast(self.ratios, [each] * self.still)

    @property
    def each(self) -> Decimal | None:
        """What each vat still to be filled needs for the day to end at its aim."""
        return None if self.aim is None else ratio_left(self.ratios, self.still, self.aim)

    @property
    def is_told(self) -> bool:
        """Whether it is to be told: a third of the vats filled, heading over, still to mend."""
        if self.most is None or self.told_from is None or not self.ratios or not self.still:
            return False
        far = len(self.ratios) * 100 > self.told_from * self.planned
        end = self.forecast
        return far and end is not None and end > self.most - self.near

    @property
    def words(self) -> str:
        """Where the day stands, in a sentence."""
        mean, most = self.mean, self.most
        if mean is None:
            return _(NONE_YET)
        said = {"made": len(self.ratios), "planned": self.planned, "mean": plain(mean, 3)}
        if most is not None and mean > most and not self.still:
            return _(OVER).format(most=plain(most), **said)
        parts = [_(STANDS).format(**said)]
        if self.forecast is not None and most is not None and self.still:
            parts.append(_(ENDS).format(forecast=plain(self.forecast, 3), most=plain(most)))
        if self.each is not None and self.aim is not None:
            parts.append(
                _(MEND).format(still=self.still, each=plain(self.each, 2), aim=plain(self.aim))
            )
        return "; ".join(parts) + "."


def day_make(day: date, at: datetime) -> DayMake:
    """The fat to casein of a day, with what stands in the hall at ``at`` and what to skim."""
    figures, what = figures_on(day), MilkFigure.What

    def value(name: str) -> Decimal | None:
        row = figures.get(name)
        return row.value if row else None

    vats = [vat for vat in vats_lately(day) if vat.day == day]
    standing = hall_milk(at)
    made = DayMake(
        day=day,
        vats=[VatRatio(vat, ratio_of_vat(vat, value(what.CASEIN_SHARE))) for vat in vats],
        planned=max(len(vats), usual_vats(day)),
        most=value(what.RATIO_MOST),
        aim=value(what.RATIO_AIM),
        near=value(what.RATIO_NEAR) or Decimal(0),
        told_from=value(what.RATIO_FROM),
        expected=expected_of(standing),
        standing=standing,
    )
    plan_skimming(made, value(what.CREAM_FAT), value(what.CASEIN_SHARE))
    return made


@once_a_page
def vats_lately(day: date) -> list[Vat]:
    """The vats of a day and of the days whose habit it has, by round and number.

    ``numbered``: whether it has a wheel with its plate.
    """
    found = Vat.objects.standing().filter(day__gte=day - HABIT, day__lte=day)
    wheels = Wheel.objects.standing().filter(vat=OuterRef("pk"))
    found = found.select_related("starter_can").annotate(numbered=Exists(wheels))
    return list(found.order_by("round", "number"))


def ratio_of_vat(vat: Vat, share: Decimal | None) -> Decimal | None:
    """Fat to casein of one vat; None when its fat, or casein and protein, are not written."""
    casein = casein_of(vat.casein, vat.protein, share) if share is not None else vat.casein
    if vat.fat is None or not casein:
        return None
    return ratio(vat.fat, casein)


def usual_vats(day: date) -> int:
    """How many vats a day has: the median of the days before that had any; 0 without."""
    counted = Counter(vat.day for vat in vats_lately(day) if vat.day < day)
    return round(median(counted.values())) if counted else 0


def expected_of(standing: Sequence[Standing]) -> Decimal | None:
    """Fat to casein of all that may still be poured; None unless trays and tanks are both known."""
    free = [one for one in standing if not one.against]
    evening = [one.milk for one in free if one.tray and one.milk]
    morning = [one.milk for one in free if not one.tray and one.milk]
    return ratio_of([*evening, *morning]) if evening and morning else None


def last_morning(day: date, share: Decimal | None) -> list[Milk]:
    """The milk of the morning before a day, lot by lot, as far as it was tested. Two statements."""
    lots = MilkLot.objects.valid().filter(
        day=day - timedelta(days=1), session="M", tank__use=Tank.Use.RECEIVING, kg__gt=0
    )
    kg = dict(lots.values_list("pk", "kg"))
    found = []
    for lot, tests in latest_tests(list(kg)).items():
        fat, protein, casein = (
            tests[what].standard if what in tests else None
            for what in (What.FAT, What.PROTEIN, What.CASEIN)
        )
        known = casein if share is None else casein_of(casein, protein, share)
        if fat is not None and known is not None:
            found.append(Milk(kg[lot], fat, known))
    return found


def plan_skimming(made: DayMake, cream_fat: Decimal | None, share: Decimal | None) -> None:
    """Say for each tray what fat it needs, and how much cream is still to take."""
    free = [one for one in made.standing if not one.against]
    trays = [one for one in free if one.tray]
    morning = [one.milk for one in free if not one.tray and one.milk]
    if not morning and made.still:
        # At the hour of skimming the cows are still being milked: yesterday's morning stands in.
        morning = last_morning(made.day, share)
        made.like_yesterday = bool(morning)
    each = made.each if made.still else made.aim
    if not trays or not morning or each is None or cream_fat is None:
        return
    whole = sum((one.kg for one in morning), Decimal(0))
    fat = sum((one.kg * one.fat for one in morning), Decimal(0)) / whole
    casein = sum((one.kg * one.casein for one in morning), Decimal(0)) / whole
    # The morning is for all vats to come, also for those whose tray is held.
    beside = Milk(whole / max(len(trays), made.still), fat, casein)
    made.standing = [
        skimmed_to(one, each, beside, cream_fat)
        if one.tray and one.milk and not one.against
        else one
        for one in made.standing
    ]


def skimmed_to(one: Standing, each: Decimal, beside: Milk, cream_fat: Decimal) -> Standing:
    """A tray with the fat it needs for its vat to end at a ratio, and the cream still to take."""
    assert one.milk is not None
    whole = one.milk.kg + beside.kg
    mixed = (one.milk.kg * one.milk.casein + beside.kg * beside.casein) / whole
    wanted = evening_fat(each, mixed, one.milk.kg, beside)
    cream = cream_to_take(one.milk.kg, one.milk.fat, wanted, cream_fat)
    return replace(one, fat_wanted=wanted, cream_to_take=cream)
