"""What a make comes to: fat to casein, cream to take, rennet, clotting, yield and losses. Pure.

Weights in kg, contents in per cent (kg in 100 kg), times in minutes. Bounds, doses and shares come
in as arguments: they are dated rows of the estate.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from statistics import fmean, stdev

from config.saying import N_, _
from milk.composition import blended

NO_CASEIN = N_("Without casein there is no fat to casein.")
NO_EVENING = N_("Evening milk must weigh more than nothing.")
NO_DOSE = N_("A dose needs litres, a strength and a house strength above nothing.")


@dataclass(frozen=True)
class Milk:
    """Milk that goes into a vat: kg, fat and casein in per cent."""

    kg: Decimal
    fat: Decimal
    casein: Decimal


def casein_of(measured: Decimal | None, protein: Decimal | None, share: Decimal) -> Decimal | None:
    """Casein as measured, else ``share`` per cent of the protein; None when neither is known."""
    if measured is not None:
        return measured
    return None if protein is None else protein * share / 100


def ratio(fat: Decimal, casein: Decimal) -> Decimal:
    """Fat to casein. Raises ValueError without casein."""
    if casein <= 0:
        raise ValueError(_(NO_CASEIN))
    return fat / casein


def ratio_of(parts: Iterable[Milk]) -> Decimal:
    """Fat to casein of milks put together. Raises ValueError when nothing is weighed."""
    milks = list(parts)
    fat = blended((one.kg, one.fat) for one in milks)
    return ratio(fat, blended((one.kg, one.casein) for one in milks))


def day_ratio(vats: Sequence[Decimal]) -> Decimal | None:
    """The day's fat to casein: the mean of its vats, each counted once; None without any."""
    return sum(vats, Decimal(0)) / len(vats) if vats else None


def forecast(vats: Sequence[Decimal], still: Sequence[Decimal]) -> Decimal | None:
    """Where the day ends: the vats made, and the ratios expected of those still to be filled."""
    return day_ratio([*vats, *still])


def ratio_left(vats: Sequence[Decimal], still: int, aim: Decimal) -> Decimal | None:
    """What each vat still to be filled must have so that the day ends at ``aim``; None: none left.

    It may be below 0, when what is filled cannot be mended any more.
    """
    return (aim * (len(vats) + still) - sum(vats, Decimal(0))) / still if still > 0 else None


def evening_fat(wanted: Decimal, casein: Decimal, evening: Decimal, morning: Milk) -> Decimal:
    """The fat evening milk must have for a ratio; ``casein``: of the vat, ``evening``: its amount.

    (R · C · (Ve + Vm) - Vm · fm) / Ve. Amounts in kg or l alike. Raises ValueError for no evening.
    """
    if evening <= 0:
        raise ValueError(_(NO_EVENING))
    return (wanted * casein * (evening + morning.kg) - morning.kg * morning.fat) / evening


def cream_to_take(kg: Decimal, fat: Decimal, wanted: Decimal, cream: Decimal) -> Decimal | None:
    """kg of cream of ``cream`` per cent to take so that ``kg`` of ``fat`` per cent has ``wanted``.

    0 when it is lean enough; None when no skimming gets there, because the cream is not fatter.
    """
    if fat <= wanted:
        return Decimal(0)
    if cream <= fat or wanted < 0:
        return None
    return kg * (fat - wanted) / (cream - wanted)


def rennet_grams(litres: Decimal, per_100: Decimal, house: Decimal, batch: Decimal) -> Decimal:
    """g of rennet: the dose for 100 l at the house strength, by the strength of the batch."""
    if litres <= 0 or house <= 0 or batch <= 0:
        raise ValueError(_(NO_DOSE))
    return litres / 100 * per_100 * house / batch


def starter_litres(litres: Decimal, per_100: Decimal) -> Decimal:
    """Litres of starter for a vat."""
    return litres * per_100 / 100


def clot_expected(usual: Decimal, grams: Decimal, dose: Decimal) -> Decimal:
    """Minutes to a firm clot with ``grams`` where ``dose`` would take ``usual``.

    Time and amount of enzyme are inverse to one another (Storch and Segelcke; from memory).
    Raises ValueError for no rennet.
    """
    if grams <= 0 or dose <= 0:
        raise ValueError(_(NO_DOSE))
    return usual * dose / grams


def is_slow(minutes: float, before: Sequence[float], by: float, least: int) -> bool | None:
    """Whether a vat took longer than the mean of those before and ``by`` minutes.

    None with fewer than ``least`` before: there is nothing to be slow beside.
    """
    return None if len(before) < max(least, 1) else minutes > fmean(before) + by


def yield_per_100(cheese: Decimal, milk: Decimal) -> Decimal | None:
    """kg of cheese of 100 kg of milk; None without milk."""
    return cheese / milk * 100 if milk > 0 else None


def loss(fresh: Decimal, now: Decimal) -> Decimal | None:
    """What a wheel lost since it was weighed first, in per cent; None without a first weight."""
    return (fresh - now) / fresh * 100 if fresh > 0 else None


@dataclass(frozen=True)
class Make:
    """A vat as the regression sees it: fat, casein, and its yield, per 100 kg."""

    fat: float
    casein: float
    kg: float


@dataclass(frozen=True)
class Fit:
    """Yield = base + by_fat · fat + by_casein · casein, from ``n`` vats.

    ``spread``: the standard deviation of what is left over; ``explained``: R squared.
    """

    base: float
    by_fat: float
    by_casein: float
    n: int
    spread: float
    explained: float

    def expected(self, fat: float, casein: float) -> float:
        """The yield of 100 kg of such milk."""
        return self.base + self.by_fat * fat + self.by_casein * casein

    def residual(self, make: Make) -> float:
        """How far a make is from what is expected, in per cent of that."""
        usual = self.expected(make.fat, make.casein)
        return (make.kg - usual) / usual * 100


def fit(makes: Sequence[Make], least: int) -> Fit | None:
    """Least squares of the yield on fat and casein of the plant's own vats.

    None with fewer than ``least`` vats (or three, which any plane goes through), or when fat and
    casein do not differ enough to be told apart.
    """
    n = len(makes)
    if n < max(least, 4):
        return None
    fat, casein = fmean(one.fat for one in makes), fmean(one.casein for one in makes)
    mean = fmean(one.kg for one in makes)
    rows = [(one.fat - fat, one.casein - casein, one.kg - mean) for one in makes]
    ff, cc = sum(f * f for f, _, _ in rows), sum(c * c for _, c, _ in rows)
    fc = sum(f * c for f, c, _ in rows)
    fy, cy = sum(f * y for f, _, y in rows), sum(c * y for _, c, y in rows)
    apart = ff * cc - fc * fc
    # Of nearly one line, rounding would decide which of the two has the effect.
    if apart <= 1e-9 * ff * cc or not ff or not cc:
        return None
    by_fat, by_casein = (fy * cc - cy * fc) / apart, (cy * ff - fy * fc) / apart
    over = [y - by_fat * f - by_casein * c for f, c, y in rows]
    whole = sum(y * y for _, _, y in rows)
    left = sum(one * one for one in over)
    return Fit(
        base=mean - by_fat * fat - by_casein * casein,
        by_fat=by_fat,
        by_casein=by_casein,
        n=n,
        spread=stdev(over),
        explained=1 - left / whole if whole else 1.0,
    )
