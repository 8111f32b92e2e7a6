"""Dry matter a cow is expected to eat, by published equations. Pure.

Each names its source; they were fitted to other herds and say what to expect on average, not what
a cow of this estate must eat. Masses in kg a day, contents in per cent.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from config.saying import N_, _

# What the equations were made for (University of Wisconsin extension).
PLAUSIBLE = {
    "body_kg": (580, 700, N_("body weight"), "kg"),
    "fibre": (28, 40, N_("neutral detergent fibre of the ration"), "%"),
    "milk_kg": (1, 55, "milk", "kg"),
    "fat": (2.8, 6, N_("milk fat"), "%"),
}
OUTSIDE = N_(
    "{name} of {value} {unit} is outside {least} to {most} {unit}: expect less of the figure."
)

NRC = N_("NRC 2001, read in a secondary source")
KOREAN = N_("Korean feeding standard, Animal Bioscience 34(10)")
FILL = N_("fill by fibre (1.2 % of body weight), read in a secondary source")
NASEM = N_("NASEM 2021, from memory")


@dataclass(frozen=True, kw_only=True)
class Cow:
    """A cow, or the mean cow of a group. ``fibre``: neutral detergent fibre, % of dry matter."""

    body_kg: float
    milk_kg: float
    fat: float
    week: float | None = None
    fibre: float | None = None


def fat_corrected(milk_kg: float, fat: float) -> float:
    """Milk corrected to 4 % fat: 0.4 of the milk and 15 times its fat."""
    return milk_kg * (0.4 + 0.15 * fat)


def by_nrc(cow: Cow, week: float) -> float:
    """kg of dry matter a day in that week of lactation (NRC 2001)."""
    hunger = 0.372 * fat_corrected(cow.milk_kg, cow.fat) + 0.0968 * math.pow(cow.body_kg, 0.75)
    return hunger * (1 - math.exp(-0.192 * (week + 3.67)))


def by_fill(body: float, fibre: float) -> float:
    """Dry matter a day that fills a cow: 1.2 times her weight over the fibre in %.

    In the unit of the body weight, kg or lb.
    """
    return 1.2 * body / fibre


def by_korean_standard(cow: Cow, fibre: float) -> float:
    """kg of dry matter a day (Korean standard)."""
    milk = fat_corrected(cow.milk_kg, cow.fat)
    return 4.103 + 0.112 * math.pow(cow.body_kg, 0.75) + 0.284 * milk - 0.119 * fibre


def by_nasem(
    *, later: float, milk_mcal: float, body_kg: float, condition: float, day: float
) -> float:
    """kg of dry matter a day (NASEM 2021; from memory, the book was not read).

    ``later``: share of cows in their second lactation or a later one, 0 to 1; ``milk_mcal``: energy
    of the milk in Mcal a day; ``condition``: body condition, 1 to 5; ``day``: of the lactation.
    """
    base = (
        3.7
        + 5.7 * later
        + 0.305 * milk_mcal
        + 0.022 * body_kg
        + (-0.689 - 1.87 * later) * condition
    )
    return base * (1 - (0.212 + 0.136 * later) * math.exp(-0.053 * day))


def water_litres(*, dry_matter_kg: float, milk_kg: float, sodium_g: float, coldest: float) -> float:
    """Litres of water a day (Murphy 1983; from memory). ``coldest``: the day's lowest °C."""
    return 15.99 + 1.58 * dry_matter_kg + 0.90 * milk_kg + 0.05 * sodium_g + 1.20 * coldest


def least_fibre(from_forage: float) -> float:
    """Least neutral detergent fibre in % of dry matter for so much of it from forage.

    NRC 2001 (from memory): 25 % with 19 % from forage, and 2 % more for each 1 % less of that.
    """
    return 25 + 2 * max(0.0, 19 - from_forage)


def expected(cow: Cow) -> list[tuple[str, float]]:
    """(source, kg of dry matter a day) of each published equation there is enough known for."""
    found = []
    if cow.week is not None:
        found.append((_(NRC), by_nrc(cow, cow.week)))
    if cow.fibre is not None:
        found.append((_(KOREAN), by_korean_standard(cow, cow.fibre)))
        found.append((_(FILL), by_fill(cow.body_kg, cow.fibre)))
    return found


def capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def implausible(cow: Cow) -> Iterator[str]:
    """A sentence for each value outside of what the equations were made for."""
    for name, (least, most, words, unit) in PLAUSIBLE.items():
        value = getattr(cow, name)
        if value is not None and not least <= value <= most:
            yield _(OUTSIDE).format(
                name=capital(_(words)), value=f"{value:g}", unit=unit, least=least, most=most
            )
