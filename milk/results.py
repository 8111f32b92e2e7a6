"""What laboratories measure: units, what a result can be, and results as written. Pure."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from config.saying import N_, _
from milk.composition import celsius_of_hortvet, soxhlet_of_dornic

# A laboratory writes "<10" for fewer than its method can count. The bound itself is used then:
# never 0, which has no logarithm (house rule; the number as written is kept beside it).
BELOW, ABOVE = "<", ">"
NUMBER = re.compile(r"[-\u2212+]?\d+(?:[.,]\d+)?")
MAYBE_THOUSANDS = re.compile(r"[1-9]\d{0,2}[.,]\d{3}")

# Units that results are compared and limits are kept in, by what was measured.
UNITS = {
    "plate": N_("thousand per ml"),
    "cells": N_("thousand per ml"),
    "inhibitor": "",
    "fat": "%",
    "protein": "%",
    "casein": "%",
    "lactose": "%",
    "freezing": "°C",
    "spores": N_("per litre"),
    "temperature": "°C",
    "acidity": "°SH",
    "aflatoxin": "µg/kg",
}
THOUSANDTH = Decimal("0.001")
# Further units that laboratories report in, and how each comes to the unit above. A result keeps
# the unit of its paper; where there are several the paper's must be said, never guessed.
OTHER_UNITS: dict[str, dict[str, Callable[[Decimal], Decimal]]] = {
    "plate": {"per ml": lambda value: value * THOUSANDTH},
    "cells": {"per ml": lambda value: value * THOUSANDTH},
    "freezing": {"°H": celsius_of_hortvet},
    "acidity": {"°D": soxhlet_of_dornic},
    "aflatoxin": {"ng/kg": lambda value: value * THOUSANDTH},
}
# Most probable numbers by different media are not comparable (IDF Bulletin 533/2025, abstract).
NEEDS_METHOD = ("spores",)
# Counts have geometric means, and go into the thousands.
COUNTS = ("plate", "cells", "spores")
# What a result can be at all (common practice); outside it a unit or a digit is wrong.
RANGES = {
    "plate": ("0.1", "100000"),
    "cells": ("1", "20000"),
    "fat": ("0.5", "15"),
    "protein": ("0.5", "10"),
    "casein": ("0.5", "8"),
    "lactose": ("0.5", "8"),
    "freezing": ("-0.7", "-0.3"),
    "spores": ("1", "10000000"),
    "temperature": ("-2", "100"),
    "acidity": ("0.5", "40"),
    "aflatoxin": ("0.0001", "100"),
}
# What laboratories write for the verdict of an inhibitor test, in small letters without spaces and
# full stops (common practice).
VERDICTS = {
    **dict.fromkeys(("negative", "neg", "notdetected", "notfound"), "negative"),
    **dict.fromkeys(("positive", "pos", "+", "detected", "found"), "positive"),
    **dict.fromkeys(("doubt", "indoubt", "doubtful", "?"), "doubt"),
}

NOT_A_NUMBER = N_(
    "“{text}” is not a number we can trust. Expected one number such as 187, 187,5 or <10, without "
    "unit and without spaces or marks between the thousands."
)
TWO_READINGS = N_(
    "“{text}” can be read as {small} or as {large}. Write {large} for the large one, or one place "
    "more or less for the small one."
)


@dataclass(frozen=True)
class Result:
    """A result as a number, and whether the paper said "less than" or "more than" it."""

    value: Decimal
    mark: str = ""


def read_result(text: str, *, count: bool = False) -> Result:
    """The number on the paper: "187", "187,5", "<10". Raises ValueError with what was expected.

    ``count``: it is a count, which can go into the thousands, so that "1.250" has two readings.
    """
    plain = text.strip().replace("≤", BELOW).replace("≥", ABOVE)
    mark = plain[:1] if plain[:1] in (BELOW, ABOVE) else ""
    number = plain.removeprefix(mark).removeprefix("=").strip()
    if not NUMBER.fullmatch(number):
        raise ValueError(_(NOT_A_NUMBER).format(text=text.strip()[:40]))
    if count and MAYBE_THOUSANDS.fullmatch(number):
        large = re.sub("[.,]", "", number)
        raise ValueError(_(TWO_READINGS).format(text=number, small=number, large=large))
    return Result(Decimal(number.replace("\u2212", "-").replace(",", ".")), mark)


def units_of(what: str) -> tuple[str, ...]:
    """The units a result of this kind may be written in; the one it is compared in first."""
    return (UNITS[what], *OTHER_UNITS.get(what, {}))


def standard(what: str, value: Decimal, unit: str) -> Decimal:
    """A result in the unit that limits are kept in; "" is that unit itself."""
    convert = OTHER_UNITS.get(what, {}).get(unit)
    return value if convert is None else convert(value)


def read_verdict(text: str) -> str:
    """The verdict that a paper's words stand for; "" for words nobody agreed on."""
    return VERDICTS.get(re.sub(r"[.\s]", "", text.casefold()), "")
