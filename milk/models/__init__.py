"""The tables of the milk, one module per noun; imported here so that Django finds them."""

from milk.models.brine import BrineOut, BrineReading, BrineRow, BrineStay
from milk.models.cheese import CheeseLimit, CheeseTest
from milk.models.cooling import CoolingRule
from milk.models.dispatch import Dispatch, WheelDiscard, WheelReturn
from milk.models.figures import MilkFigure
from milk.models.grading import Fault, Grade, GradeRule, Inspection, RindMark
from milk.models.hold_steps import HoldStep
from milk.models.holds import Hold, HoldDecision, HoldItem
from milk.models.inhibitors import InhibitorTest
from milk.models.laboratories import LaboratorySetting
from milk.models.limits import Limit, LotFlag, LotTest
from milk.models.lots import LotDraw, LotParent, MilkingPart, MilkLot, VatLot
from milk.models.marks import VatMark
from milk.models.milkings import CowMilking, MeterArrival, MeterCorrection, Milking
from milk.models.orders import Order, OrderLine, Pallet, Pick, Shipment
from milk.models.outside import OutsideFinding, OutsideStep
from milk.models.plates import PlateLoss, PlateReceipt, WheelWeight
from milk.models.products import AgeRule, Product
from milk.models.recalls import ProductOut, Recall, RecallStep
from milk.models.recipes import Recipe
from milk.models.rennet import RennetBatch, RennetStep
from milk.models.residues import Residue, ResidueLimit
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
from milk.models.trays import KeptOver, Skimming
from milk.models.vats import StarterCan, Vat, VatFill, Wheel, WheyAdded
from milk.models.withheld import HerdStatus, WithheldMilk, WrongCow

__all__ = [
    "AgeRule",
    "BrineOut",
    "BrineReading",
    "BrineRow",
    "BrineStay",
    "CheeseLimit",
    "CheeseTest",
    "CoolingRule",
    "CowMilking",
    "Delivery",
    "Dispatch",
    "Fault",
    "Grade",
    "GradeRule",
    "HerdStatus",
    "Hold",
    "HoldDecision",
    "HoldItem",
    "HoldStep",
    "InhibitorTest",
    "Inspection",
    "KeptOver",
    "LaboratorySetting",
    "Limit",
    "LotDraw",
    "LotFlag",
    "LotParent",
    "LotTest",
    "MeterArrival",
    "MeterCorrection",
    "MilkFigure",
    "MilkLot",
    "Milking",
    "MilkingPart",
    "Order",
    "OutsideFinding",
    "OutsideStep",
    "OrderLine",
    "Pallet",
    "Pick",
    "PlateLoss",
    "PlateReceipt",
    "Product",
    "ProductOut",
    "Recall",
    "RecallStep",
    "Recipe",
    "Residue",
    "ResidueLimit",
    "RennetBatch",
    "RennetStep",
    "RindMark",
    "RoomReading",
    "Shipment",
    "Skimming",
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
    "VatMark",
    "Wheel",
    "WheelDiscard",
    "WheelPlace",
    "WheelReturn",
    "WheelWeight",
    "WheyAdded",
    "WithheldMilk",
    "WrongCow",
]
