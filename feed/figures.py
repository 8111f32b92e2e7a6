"""The figures an estate sets for its feed work, by name: what each means, its unit and its range.

The values are dated rows (FeedFigure). Pure: no database, no clock.
"""

from dataclasses import dataclass
from datetime import time
from decimal import Decimal


@dataclass(frozen=True)
class Figure:
    """One figure: what it says, in which unit, and between which values it makes sense.

    ``usual``: what holds where nobody has set it, the same as the row an estate starts with
    (``fixtures/feed_rules.json``, with its source); None: then nobody knows it.
    """

    label: str
    unit: str
    least: Decimal
    most: Decimal
    usual: Decimal | None = None


def figure(label: str, unit: str, least: float, most: float, usual: float | None = None) -> Figure:
    """A figure with its range as exact numbers."""
    return Figure(label, unit, exact(least), exact(most), None if usual is None else exact(usual))


def exact(value: float) -> Decimal:
    return Decimal(str(value))


DRY_HECTARE = "kg dry matter a ha"
OCLOCK = "o'clock, 7.5 for 07:30"
FIGURES = {
    "witness_above": figure("a discard needs a witness above", "kg", 0, 100_000, 1000),
    "asked_above": figure("kilos of a load asked for when unwritten, from", "kg", 1, 15_000, 100),
    "asked_around": figure("fed in the hour of a load: so long around it", "minutes", 5, 360, 60),
    "first_ahead": figure("told of feed first ahead by", "minutes", 0, 720, 120),
    "vet_after": figure("the vet is told of past grass after", "minutes", 0, 720, 15),
    "rings_a_shift": figure("rings a shift for one role, at most", "rings", 1, 20, 3),
    "shift_1": figure("the first shift begins at", OCLOCK, 0, 23.99, 4),
    "shift_2": figure("the second shift begins at", OCLOCK, 0, 23.99, 12),
    "shift_3": figure("the third shift begins at", OCLOCK, 0, 23.99, 20),
    "heating_share": figure("a heap heats from this part of the way to its limit", "%", 1, 99, 50),
    "early_looked_back": figure("a cut in waiting days is told of for", "days", 1, 365, 60),
    "sample_old": figure("a dry-matter sample is old after", "hours", 1, 720),
    "grass_reach": figure("dry matter of other grass is taken for", "days", 1, 365, 45),
    "silage_wait": figure("no cheese milk after the last silage for", "days", 0, 365, 28),
    "stack_warm": figure("a stack of hay is warm from", "°C", 20, 100, 45),
    "stack_looked_back": figure("a warm stack is probed again within", "days", 1, 90, 14),
    "wagon": figure("a wagon holds", "kg", 500, 15_000),
    "trip_least": figure("a load is worth a trip from", "kg", 0, 15_000, 500),
    "cut_step": figure("cuts are reckoned in steps of", "kg", 1, 5000, 100),
    "cut_loss": figure("lost between mower and fence", "%", 0, 50),
    "fence_hour": figure("the day's grass is at the fence by", OCLOCK, 0, 23.99, 8),
    "walked_within": figure("a field walk says what stands there for", "days", 1, 90, 14),
    "cover_most": figure("grass is cut before its cover reaches", DRY_HECTARE, 500, 12_000, 4000),
    "grass_cost": figure("growing and cutting grass", "EUR a tonne of dry matter", 0, 2000),
    "hay_cost": figure("hay", "EUR a tonne of dry matter", 0, 2000),
    "meal_cost": figure("meal", "EUR a tonne of dry matter", 0, 5000),
    "discard_cost": figure("taking thrown-away grass off", "EUR a tonne", 0, 500),
    "refused_least": figure("usual refusals, at least", "% of dry matter offered", 0, 50),
    "refused_most": figure("usual refusals, at most", "% of dry matter offered", 0, 50),
    "cleared_within": figure("what is cleared was fed within", "hours", 6, 168, 48),
    "short_above": figure("short of dry matter is said from", "kg a cow and day", 0, 10, 0.5),
    "drift_within": figure("a share nears its bound within", "percentage points", 0, 50, 2),
    "drift_after": figure("a year's share says something after", "days", 0, 366, 28),
    "drift_days": figure("a share of days is looked at over", "days", 1, 31, 3),
    "drift_missed": figure("and told of when missed on", "days", 1, 31, 2),
    "body_weight": figure("a cow in milk weighs", "kg", 100, 1200),
    "grass_fibre": figure("fibre (NDF) of fresh grass", "% of dry matter", 10, 80),
    "fibre_known": figure("fibre is told when known of", "% of dry matter", 1, 100, 90),
    "sodium_fed": figure("sodium a cow in milk gets", "g a day", 0, 200),
    "recorded_within": figure("a recording tells of milk for", "days", 1, 365, 45),
    "lactation_most": figure("a lactation lasts at most", "days", 200, 2000, 700),
    "milk_from": figure("milk of a feeding from", "hours after it", 0, 96, 12),
    "milk_to": figure("milk of a feeding to", "hours after it", 1, 240, 60),
}


def clock_of(value: Decimal) -> time:
    """A figure in o'clock as a time of day, to the minute."""
    hour, minute = divmod(int(value * 60), 60)
    return time(hour, minute)


def figure_choices() -> list[tuple[str, str]]:
    """The figures as choices of a form."""
    return [(name, f"{known.label}, {known.unit}") for name, known in FIGURES.items()]
