"""The tables of the herd, one module per noun; imported here so that Django finds them."""

from herd.models.animals import Animal, Holding, TagEvent
from herd.models.breeding import Calving, DryOff, PregnancyCheck, Service
from herd.models.groups import Group, GroupStay, MilkingTime
from herd.models.health import CowTest, HealthEvent
from herd.models.medicines import Medicine, MedicineMove, MedicineVersion
from herd.models.recordings import Recording
from herd.models.treatments import Course, Dose, PeriodRule, WithdrawalPeriod

__all__ = [
    "Animal",
    "Calving",
    "Course",
    "CowTest",
    "Dose",
    "DryOff",
    "Group",
    "GroupStay",
    "HealthEvent",
    "Holding",
    "Medicine",
    "MedicineMove",
    "MedicineVersion",
    "MilkingTime",
    "PeriodRule",
    "PregnancyCheck",
    "Recording",
    "Service",
    "TagEvent",
    "WithdrawalPeriod",
]
