"""The figures an estate sets for its feed work, by name: what each means, its unit and its range.

The values are dated rows (FeedFigure). Pure: no database, no clock.
"""

from dataclasses import dataclass
from datetime import time
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_


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


DRY_HECTARE = N_("kg dry matter a ha")
OCLOCK = N_("o'clock, 7.5 for 07:30")
FIGURES = {
    "witness_above": figure(N_("a discard needs a witness above"), "kg", 0, 100_000, 1000),
    "asked_above": figure(
        N_("kilos of a load asked for when unwritten, from"), "kg", 1, 15_000, 100
    ),
    "asked_around": figure(
        N_("fed in the hour of a load: so long around it"), N_("minutes"), 5, 360, 60
    ),
    "first_ahead": figure(N_("told of feed first ahead by"), N_("minutes"), 0, 720, 120),
    "vet_after": figure(N_("the vet is told of past grass after"), N_("minutes"), 0, 720, 15),
    "rings_a_shift": figure(N_("rings a shift for one role, at most"), N_("rings"), 1, 20, 3),
    "shift_1": figure(N_("the first shift begins at"), OCLOCK, 0, 23.99, 4),
    "shift_2": figure(N_("the second shift begins at"), OCLOCK, 0, 23.99, 12),
    "shift_3": figure(N_("the third shift begins at"), OCLOCK, 0, 23.99, 20),
    "heating_share": figure(
        N_("a heap heats from this part of the way to its limit"), "%", 1, 99, 50
    ),
    "early_looked_back": figure(N_("a cut in waiting days is told of for"), N_("days"), 1, 365, 60),
    "sample_old": figure(N_("a dry-matter sample is old after"), N_("hours"), 1, 720),
    "grass_reach": figure(N_("dry matter of other grass is taken for"), N_("days"), 1, 365, 45),
    "silage_wait": figure(N_("no cheese milk after the last silage for"), N_("days"), 0, 365, 28),
    "stack_warm": figure(N_("a stack of hay is warm from"), "°C", 20, 100, 45),
    "stack_looked_back": figure(N_("a warm stack is probed again within"), N_("days"), 1, 90, 14),
    "wagon": figure(N_("a wagon holds"), "kg", 500, 15_000),
    "trip_least": figure(N_("a load is worth a trip from"), "kg", 0, 15_000, 500),
    "cut_step": figure(N_("cuts are reckoned in steps of"), "kg", 1, 5000, 100),
    "cut_loss": figure(N_("lost between mower and fence"), "%", 0, 50),
    "fence_hour": figure(N_("the day's grass is at the fence by"), OCLOCK, 0, 23.99, 8),
    "walked_within": figure(N_("a field walk says what stands there for"), N_("days"), 1, 90, 14),
    "cover_most": figure(
        N_("grass is cut before its cover reaches"), DRY_HECTARE, 500, 12_000, 4000
    ),
    "grass_cost": figure(N_("growing and cutting grass"), N_("EUR a tonne of dry matter"), 0, 2000),
    "hay_cost": figure(N_("hay"), N_("EUR a tonne of dry matter"), 0, 2000),
    "meal_cost": figure(N_("meal"), N_("EUR a tonne of dry matter"), 0, 5000),
    "discard_cost": figure(N_("taking thrown-away grass off"), N_("EUR a tonne"), 0, 500),
    "refused_least": figure(N_("usual refusals, at least"), N_("% of dry matter offered"), 0, 50),
    "refused_most": figure(N_("usual refusals, at most"), N_("% of dry matter offered"), 0, 50),
    "cleared_within": figure(N_("what is cleared was fed within"), N_("hours"), 6, 168, 48),
    "short_above": figure(
        N_("short of dry matter is said from"), N_("kg a cow and day"), 0, 10, 0.5
    ),
    "drift_within": figure(N_("a share nears its bound within"), N_("percentage points"), 0, 50, 2),
    "drift_after": figure(N_("a year's share says something after"), N_("days"), 0, 366, 28),
    "drift_days": figure(N_("a share of days is looked at over"), N_("days"), 1, 31, 3),
    "drift_missed": figure(N_("and told of when missed on"), N_("days"), 1, 31, 2),
    "body_weight": figure(N_("a cow in milk weighs"), "kg", 100, 1200),
    "grass_fibre": figure(N_("fibre (NDF) of fresh grass"), N_("% of dry matter"), 10, 80),
    "fibre_known": figure(N_("fibre is told when known of"), N_("% of dry matter"), 1, 100, 90),
    "sodium_fed": figure(N_("sodium a cow in milk gets"), N_("g a day"), 0, 200),
    "recorded_within": figure(N_("a recording tells of milk for"), N_("days"), 1, 365, 45),
    "lactation_most": figure(N_("a lactation lasts at most"), N_("days"), 200, 2000, 700),
    "milk_from": figure(N_("milk of a feeding from"), N_("hours after it"), 0, 96, 12),
    "milk_to": figure(N_("milk of a feeding to"), N_("hours after it"), 1, 240, 60),
}


def clock_of(value: Decimal) -> time:
    """A figure in o'clock as a time of day, to the minute."""
    hour, minute = divmod(int(value * 60), 60)
    return time(hour, minute)


def figure_choices() -> list[tuple[str, str]]:
    """The figures as choices of a form."""
    return [(name, f"{_(known.label)}, {_(known.unit)}") for name, known in FIGURES.items()]
