"""What milk and cheese are made of: arithmetic of the trade, each formula with its source. Pure.

Percentages are kg in 100 kg. Blends are weighed: what a tank or a vat holds is the mean of its
parts by weight. Means over time are another thing and stand in limits.py.
"""

from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal

from config.saying import N_, _

# °C = 0.96418 · °H - 0.00085: from memory; it gives both pairs printed in a cryoscope's manual
# (-0.540 °H is -0.5218 °C, -0.525 °H is -0.507 °C) to the last place.
HORTVET_SLOPE, HORTVET_STEP = Decimal("0.96418"), Decimal("-0.00085")
# 1 °SH is 2.25 °D, and 1 °D is 0.01 % lactic acid (from memory, handbooks agree).
DORNIC_OF_SOXHLET = Decimal("2.25")
LACTIC_OF_DORNIC = Decimal("0.01")
# ISO 5764:2009, scope: a milk that takes more alkali is not judged by its freezing point.
MOST_ALKALI_ML = Decimal(20)
# kg of a litre at 20 °C (handbooks give 1.028 to 1.034).
DENSITY = Decimal("1.03")
# Casein of protein, common practice; about 2.6 of 3.3 in a university's cheese book.
CASEIN_OF_PROTEIN = Decimal("0.78")
# Cheddar's constants (Van Slyke and Price); a cheese of another kind needs its own.
FAT_KEPT, CASEIN_LOST, SOLIDS = Decimal("0.93"), Decimal("0.1"), Decimal("1.09")

NOTHING_TO_WEIGH = N_("A blend needs parts that weigh more than nothing.")
ALL_WATER = N_("Moisture and fat must leave something over: both below 100 %.")


def celsius_of_hortvet(degrees: Decimal) -> Decimal:
    """A freezing point in °C from one in °H, to a tenth of a thousandth."""
    found = HORTVET_SLOPE * degrees + HORTVET_STEP
    return found.quantize(Decimal("0.0001"), ROUND_HALF_UP)


def soxhlet_of_dornic(degrees: Decimal) -> Decimal:
    """Acidity in °SH from one in °D, to a hundredth of a degree."""
    return (degrees / DORNIC_OF_SOXHLET).quantize(Decimal("0.01"), ROUND_HALF_UP)


def lactic_percent(soxhlet: Decimal) -> Decimal:
    """Acidity as per cent of lactic acid, from °SH."""
    return soxhlet * DORNIC_OF_SOXHLET * LACTIC_OF_DORNIC


def added_water(base: Decimal, observed: Decimal) -> Decimal:
    """Per cent of added water, from two freezing points in one unit, with or without their sign.

    100 · (base - observed) / base, as a cryoscope's manual has it; colder than the base is 0, not
    less than nothing. Raises ValueError for a base of 0.
    """
    base, observed = abs(base), abs(observed)
    if not base:
        raise ValueError("The freezing point of milk without water cannot be 0.")
    return max(Decimal(0), 100 * (base - observed) / base)


def freezing_point_counts(alkali_ml: Decimal) -> bool:
    """Whether a milk is fresh enough to judge: ml of 0.1 M alkali for 10 g of non-fat solids."""
    return alkali_ml <= MOST_ALKALI_ML


def fat_in_dry_matter(fat: Decimal, moisture: Decimal) -> Decimal:
    """Fat in 100 kg of dry matter (Guelph, Standardization of milk for cheese making)."""
    return 100 * fat / rest(moisture)


def moisture_without_fat(fat: Decimal, moisture: Decimal) -> Decimal:
    """Moisture in 100 kg of what is no fat (the same source)."""
    return 100 * moisture / rest(fat)


def rest(percent: Decimal) -> Decimal:
    """What is left of 100 %. Raises ValueError when nothing is."""
    if percent >= 100:
        raise ValueError(_(ALL_WATER))
    return 100 - percent


def cheese_yield(fat: Decimal, casein: Decimal, moisture: Decimal) -> Decimal:
    """kg of cheese from 100 kg of milk after Van Slyke; ``moisture`` of the cheese in per cent.

    (0.93 · fat + casein - 0.1) · 1.09 / (1 - moisture): constants of Cheddar.
    """
    return (FAT_KEPT * fat + casein - CASEIN_LOST) * SOLIDS / (rest(moisture) / 100)


def casein_of(protein: Decimal) -> Decimal:
    """Casein where it was not measured."""
    return CASEIN_OF_PROTEIN * protein


def protein_of_fat(fat: Decimal) -> Decimal:
    """The protein that goes with a fat content on average (a trade calculator's regression)."""
    return Decimal("0.45179") * fat + Decimal("1.5214")


def kilos_of_litres(litres: Decimal) -> Decimal:
    """kg of milk from litres."""
    return litres * DENSITY


def litres_of_kilos(kg: Decimal) -> Decimal:
    """Litres of so many kg of milk at 20 °C."""
    return kg / DENSITY


def blended(parts: Iterable[tuple[Decimal, Decimal]]) -> Decimal:
    """What a blend holds, from (kg, content) of each part: the mean by weight.

    For fat and cells of cows or lots in one tank; never for results of different days, whose mean
    is geometric (limits.geometric_mean). Raises ValueError when nothing is weighed.
    """
    weighed = list(parts)
    kg = sum((weight for weight, _ in weighed), Decimal(0))
    if kg <= 0 or any(weight < 0 for weight, _ in weighed):
        raise ValueError(_(NOTHING_TO_WEIGH))
    return sum((weight * content for weight, content in weighed), Decimal(0)) / kg
