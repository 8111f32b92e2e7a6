"""The tables of the herd, one module per noun; imported here so that Django finds them."""

from herd.models.animals import Animal, BreedRule, Holding, LegBand, TagEvent
from herd.models.breeding import (
    BreedingDecision,
    Calf,
    Calving,
    DryOff,
    Heat,
    PregnancyCheck,
    Service,
)
from herd.models.groups import CowKnown, Group, GroupStay, MilkingTime, UnknownCow
from herd.models.health import CowTest, HealthEvent, UnfitSign
from herd.models.medicines import Medicine, MedicineMove, MedicineVersion
from herd.models.recordings import Recording
from herd.models.treatments import (
    Course,
    Dose,
    DoseAnswer,
    PeriodRule,
    TreatmentPlan,
    WithdrawalPeriod,
)
from herd.models.walls import WallScreen

__all__ = [
    "Animal",
    "BreedRule",
    "BreedingDecision",
    "Calf",
    "Calving",
    "Course",
    "CowKnown",
    "CowTest",
    "Dose",
    "DoseAnswer",
    "DryOff",
    "Group",
    "GroupStay",
    "HealthEvent",
    "Heat",
    "Holding",
    "LegBand",
    "Medicine",
    "MedicineMove",
    "MedicineVersion",
    "MilkingTime",
    "PeriodRule",
    "PregnancyCheck",
    "Recording",
    "Service",
    "TagEvent",
    "TreatmentPlan",
    "UnfitSign",
    "UnknownCow",
    "WallScreen",
    "WithdrawalPeriod",
]
