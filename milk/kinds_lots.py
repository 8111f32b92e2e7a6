"""The kinds of entry of milk until the vat: tanks, milkings, tests, limits, holds."""

from django.utils.translation import gettext_lazy as _l

from config.kinds import Kind
from milk.models import (
    CoolingRule,
    Delivery,
    HerdStatus,
    Hold,
    HoldDecision,
    HoldStep,
    InhibitorTest,
    LaboratorySetting,
    Limit,
    LotTest,
    MeterCorrection,
    MilkFigure,
    Milking,
    Residue,
    ResidueLimit,
    Tank,
    TankEvent,
    Tray,
    WithheldMilk,
    WrongCow,
)
from milk.services import (
    figures,
    herd_status,
    hold_steps,
    holds,
    laboratories,
    limits,
    milkings,
    residues,
    skimming,
    taking_back,
    tanks,
    tests,
    withheld,
    wrong_cow,
)
from milk.services.changing import strike_milk

TANKS = (
    Kind(
        slug="tanks",
        model=Tank,
        title=_l("Tanks"),
        moment=_l("in use since"),
        fields=("name", "capacity_kg", "use"),
        filters=("name", "use"),
    ),
    Kind(
        slug="tank-events",
        model=TankEvent,
        title=_l("Tank events"),
        help=_l("Washed, emptied, drawn off, moved, or looked at. A wash ends what is in a tank."),
        fields=("tank", "what", "kg", "to_tank", "ended_at", "temperature", "remark"),
        record=tanks.record_tank_event,
        strike=strike_milk,
        filters=("tank", "what"),
    ),
    Kind(
        slug="milkings",
        model=Milking,
        title=_l("Milkings"),
        moment=_l("began at"),
        help=_l("One group into one tank. Leave the kg blank to have the meter rows added up."),
        fields=("group", "day", "session", "tank", "ended_at", "kg", "milker", "remark"),
        shown=("metered", "read_kg"),
        record=milkings.record_milking,
        strike=strike_milk,
        correct=milkings.correct_milking,
        filters=("group", "day", "session", "tank"),
    ),
    Kind(
        slug="meter-corrections",
        model=MeterCorrection,
        title=_l("Meter corrections"),
        moment=_l("found at"),
        help=_l("What a meter read wrongly; the row keeps both values."),
        fields=("animal", "milking", "new_grams", "new_goes", "why"),
        shown=("old_grams", "old_goes"),
        record=milkings.correct_meter,
        strike=milkings.strike_meter_correction,
        filters=("animal", "milking"),
    ),
    Kind(
        slug="deliveries",
        model=Delivery,
        title=_l("Deliveries"),
        moment=_l("began at"),
        help=_l(
            "Milk from a supplier is a lot of its own; milk to a buyer is drawn from its tank."
        ),
        fields=("way", "holding", "tank", "kg", "ended_at", "paper", "temperature"),
        record=tanks.record_delivery,
        strike=strike_milk,
        correct=tanks.correct_delivery,
        filters=("way", "holding", "tank"),
    ),
    Kind(
        slug="trays",
        model=Tray,
        title=_l("Trays"),
        moment=_l("filling began at"),
        help=_l("Cream taken off later is written as a look at the tray."),
        fields=("number", "tank", "kg", "ended_at", "cream_kg", "temperature"),
        record=tanks.record_tray,
        strike=skimming.strike_tray,
        correct=tanks.correct_tray,
        filters=("number", "tank"),
    ),
)

TESTS = (
    Kind(
        slug="lot-tests",
        model=LotTest,
        title=_l("Lot tests"),
        moment=_l("sample taken at"),
        help=_l(
            "Of a lot, or of a delivery. The number and unit as the paper has them: “<10” stays."
        ),
        fields=(
            "lot",
            "delivery",
            "what",
            "written",
            "unit",
            "verdict",
            "sample",
            "laboratory",
            "method",
            "value",
        ),
        record=tests.record_lot_test,
        strike=tests.strike_lot_test,
        filters=("lot", "delivery", "what"),
        related=("lot__delivery",),
    ),
    Kind(
        slug="residues",
        model=Residue,
        title=_l("Residues measured"),
        moment=_l("sample taken at"),
        help=_l(
            "One substance of a laboratory's paper, in µg/kg. What is more than the law allows "
            "holds the lot; for sulfonamides the sum counts."
        ),
        fields=("lot", "substance", "written", "sample", "laboratory", "method"),
        shown=("value",),
        record=residues.record_residue,
        strike=residues.strike_residue,
        filters=("lot", "substance"),
    ),
    Kind(
        slug="residue-limits",
        model=ResidueLimit,
        title=_l("Residue limits"),
        moment=_l("entered at"),
        help=_l(
            "How much of a substance milk may hold, from a day on. Rows of schemes that the "
            "estate does not follow are kept and judge nothing."
        ),
        fields=("substance", "summed_as", "at_most", "scheme", "valid_from", "source"),
        filters=("substance", "scheme"),
    ),
    Kind(
        slug="herd-statuses",
        model=HerdStatus,
        title=_l("Statuses of the herd"),
        moment=_l("since"),
        help=_l(
            "Officially free or not, as the authority says. Not free: the herd's milk goes into "
            "no vat, and what was milked since then is held."
        ),
        fields=("disease", "free", "source"),
        record=herd_status.record_herd_status,
        strike=herd_status.strike_herd_status,
        filters=("disease", "free"),
    ),
    Kind(
        slug="limits",
        model=Limit,
        title=_l("Limits"),
        moment=_l("decided at"),
        help=_l(
            "What a result may be at most or at least, from a day on, and where that stands. "
            "Counts are in thousand per ml, spores per litre, freezing points in °C, aflatoxin "
            "in µg/kg."
        ),
        fields=(
            "what",
            "of",
            "at_most",
            "at_least",
            "unit",
            "months",
            "samples_a_month",
            "times",
            "of_last",
            "gap_days",
            "mend_months",
            "resample_after_days",
            "resample_within_days",
            "scheme",
            "valid_from",
            "source",
        ),
        record=limits.record_limit,
        strike=limits.strike_limit,
        filters=("what", "of", "scheme"),
    ),
    Kind(
        slug="cooling-rules",
        model=CoolingRule,
        title=_l("Cooling rules"),
        moment=_l("decided at"),
        help=_l("How warm milk may be so long after milking, and how old it may get."),
        fields=(
            "of",
            "counted_from",
            "minutes",
            "days",
            "at_most",
            "warmer_than",
            "collected",
            "used_within",
            "scheme",
            "valid_from",
            "source",
        ),
        record=limits.record_cooling_rule,
        strike=limits.strike_cooling_rule,
        filters=("of", "scheme"),
    ),
    Kind(
        slug="laboratory-settings",
        model=LaboratorySetting,
        title=_l("Laboratory settings"),
        moment=_l("holds from"),
        help=_l("What a laboratory's files do not say themselves; asked once, then remembered."),
        fields=("laboratory", "question", "answer"),
        record=laboratories.record_setting,
        filters=("laboratory", "question"),
    ),
    Kind(
        slug="holds",
        model=Hold,
        title=_l("Holds"),
        moment=_l("held since"),
        help=_l("Nothing of it may be used until two different people have decided."),
        fields=("reason", "words", "lot", "tank", "vat", "wheel", "starter_can"),
        record=holds.hold_milk,
        strike=taking_back.strike_hold,
        filters=("reason", "lot", "tank", "vat", "wheel", "starter_can"),
        struck_ok=("vat", "wheel"),
    ),
    Kind(
        slug="hold-decisions",
        model=HoldDecision,
        title=_l("Decisions about holds"),
        moment=_l("decided at"),
        help=_l("Two different people must decide the same. A small share never makes milk fit."),
        fields=("hold", "decision", "words"),
        record=holds.decide,
        strike=taking_back.strike_decision,
        filters=("hold", "decision"),
    ),
)

KEPT_OUT = (
    Kind(
        slug="withheld-milk",
        model=WithheldMilk,
        title=_l("Withheld milk"),
        moment=_l("kept out at"),
        help=_l(
            "Milk kept out at a milking and where it went. To no animal that gives food, but to "
            "her own calf, where local law allows it."
        ),
        fields=("day", "session", "group", "animal", "cows", "kg", "reason", "went", "calf")
        + ("paper", "remark"),
        record=withheld.record_withheld,
        filters=("day", "session", "group", "animal", "went"),
    ),
    Kind(
        slug="wrong-cows",
        model=WrongCow,
        title=_l("Wrong cows in tanks"),
        moment=_l("milked at"),
        help=_l("Holds the tank at once, and writes where the rest of the milking goes."),
        fields=("tank", "animal", "group", "kg", "tank_kg", "to_tank", "bottle_1", "bottle_2"),
        record=wrong_cow.record_wrong_cow,
        strike=wrong_cow.strike_wrong_cow,
        filters=("tank", "animal"),
    ),
    Kind(
        slug="hold-steps",
        model=HoldStep,
        title=_l("Steps on holds"),
        moment=_l("done at"),
        help=_l("What was done about a hold on the way to a decision."),
        fields=("hold", "what", "why", "bottles", "paper", "words"),
        record=hold_steps.record_step,
        filters=("hold", "what", "why"),
    ),
    Kind(
        slug="inhibitor-tests",
        model=InhibitorTest,
        title=_l("Inhibitor tests by method"),
        moment=_l("decided at"),
        help=_l(
            "Which active substances a method finds, by its maker's sheet. A negative result "
            "releases milk only if its method covers what the cow was given."
        ),
        fields=("name", "covers", "confirms", "minutes", "valid_from", "source"),
        filters=("name",),
    ),
    Kind(
        slug="milk-figures",
        model=MilkFigure,
        title=_l("Figures of the milk"),
        moment=_l("decided at"),
        help=_l("Prices, usual losses and lead times, each from a day on."),
        fields=("what", "value", "unit", "valid_from", "source"),
        record=figures.record_figure,
        strike=figures.strike_figure,
        filters=("what",),
    ),
)
