"""The tables of the milk, one module per noun; imported here so that Django finds them."""

from milk.models.cooling import CoolingRule
from milk.models.holds import Hold, HoldDecision, HoldItem
from milk.models.laboratories import LaboratorySetting
from milk.models.limits import Limit, LotFlag, LotTest
from milk.models.lots import LotDraw, LotParent, MilkingPart, MilkLot, VatLot
from milk.models.milkings import CowMilking, MeterCorrection, Milking
from milk.models.store import (
    BrineStay,
    Dispatch,
    Inspection,
    Recall,
    StorePlace,
    StoreRound,
    StoreStay,
)
from milk.models.tanks import Delivery, Tank, TankEvent, Tray
from milk.models.vats import StarterCan, Vat, VatFill, Wheel

__all__ = [
    "BrineStay",
    "CoolingRule",
    "CowMilking",
    "Delivery",
    "Dispatch",
    "Hold",
    "HoldDecision",
    "HoldItem",
    "Inspection",
    "LaboratorySetting",
    "Limit",
    "LotDraw",
    "LotFlag",
    "LotParent",
    "LotTest",
    "MeterCorrection",
    "MilkLot",
    "Milking",
    "MilkingPart",
    "Recall",
    "StarterCan",
    "StorePlace",
    "StoreRound",
    "StoreStay",
    "Tank",
    "TankEvent",
    "Tray",
    "Vat",
    "VatFill",
    "VatLot",
    "Wheel",
]
