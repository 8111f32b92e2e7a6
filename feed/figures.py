"""The figures an estate sets for its feed work, by name: what each means, its unit and its range.

The values are dated rows (FeedFigure). Pure: no database, no clock.
"""

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True)
class Figure:
    """One figure: what it says, in which unit, and between which values it makes sense."""

    label: str
    unit: str
    least: Decimal
    most: Decimal


def figure(label: str, unit: str, least: float, most: float) -> Figure:
    """A figure with its range as exact numbers."""
    return Figure(label, unit, Decimal(str(least)), Decimal(str(most)))


FIGURES = {
    "witness_above": figure("a discard needs a witness above", "kg", 0, 100_000),
    "asked_above": figure("kilos of a load asked for when unwritten, from", "kg", 1, 15_000),
    "first_ahead": figure("told of feed first ahead by", "minutes", 0, 720),
    "vet_after": figure("the vet is told of past grass after", "minutes", 0, 720),
    "rings_a_shift": figure("rings a shift for one role, at most", "rings", 1, 20),
    "sample_old": figure("a dry-matter sample is old after", "hours", 1, 720),
    "stack_warm": figure("a stack of hay is warm from", "°C", 20, 100),
    "wagon": figure("a wagon holds", "kg", 500, 15_000),
    "cut_loss": figure("lost between mower and fence", "%", 0, 50),
    "cover_most": figure(
        "grass is cut before its cover reaches", "kg dry matter a ha", 500, 12_000
    ),
    "grass_cost": figure("growing and cutting grass", "EUR a tonne of dry matter", 0, 2000),
    "hay_cost": figure("hay", "EUR a tonne of dry matter", 0, 2000),
    "meal_cost": figure("meal", "EUR a tonne of dry matter", 0, 5000),
    "discard_cost": figure("taking thrown-away grass off", "EUR a tonne", 0, 500),
    "refused_least": figure("usual refusals, at least", "% of dry matter offered", 0, 50),
    "refused_most": figure("usual refusals, at most", "% of dry matter offered", 0, 50),
    "short_above": figure("short of dry matter is said from", "kg a cow and day", 0, 10),
    "drift_within": figure("a share nears its bound within", "percentage points", 0, 50),
    "body_weight": figure("a cow in milk weighs", "kg", 100, 1200),
    "grass_fibre": figure("fibre (NDF) of fresh grass", "% of dry matter", 10, 80),
    "milk_from": figure("milk of a feeding from", "hours after it", 0, 96),
    "milk_to": figure("milk of a feeding to", "hours after it", 1, 240),
}


def figure_choices() -> list[tuple[str, str]]:
    """The figures as choices of a form."""
    return [(name, f"{known.label}, {known.unit}") for name, known in FIGURES.items()]
