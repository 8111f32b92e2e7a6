"""The tables of the milk, one module per noun; imported here so that Django finds them."""

from milk.models.brine import BrineOut, BrineReading, BrineRow, BrineStay
from milk.models.cooling import CoolingRule
from milk.models.dispatch import Dispatch
from milk.models.figures import MilkFigure
from milk.models.grading import Inspection
from milk.models.hold_steps import HoldStep
from milk.models.holds import Hold, HoldDecision, HoldItem
from milk.models.inhibitors import InhibitorTest
from milk.models.laboratories import LaboratorySetting
from milk.models.limits import Limit, LotFlag, LotTest
from milk.models.lots import LotDraw, LotParent, MilkingPart, MilkLot, VatLot
from milk.models.milkings import CowMilking, MeterCorrection, Milking
from milk.models.recalls import ProductOut, Recall, RecallStep
from milk.models.store import (
    RoomReading,
    StockCount,
    StoreFinding,
    StoreGap,
    StorePlace,
    StoreRound,
    StoreStay,
    WheelPlace,
)
from milk.models.tanks import Delivery, Tank, TankEvent, Tray
from milk.models.vats import StarterCan, Vat, VatFill, Wheel
from milk.models.withheld import WithheldMilk, WrongCow

__all__ = [
    "BrineOut",
    "BrineReading",
    "BrineRow",
    "BrineStay",
    "CoolingRule",
    "CowMilking",
    "Delivery",
    "Dispatch",
    "Hold",
    "HoldDecision",
    "HoldItem",
    "HoldStep",
    "InhibitorTest",
    "Inspection",
    "LaboratorySetting",
    "Limit",
    "LotDraw",
    "LotFlag",
    "LotParent",
    "LotTest",
    "MeterCorrection",
    "MilkFigure",
    "MilkLot",
    "Milking",
    "MilkingPart",
    "ProductOut",
    "Recall",
    "RoomReading",
    "RecallStep",
    "StarterCan",
    "StockCount",
    "StoreFinding",
    "StoreGap",
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
    "WheelPlace",
    "WithheldMilk",
    "WrongCow",
]
