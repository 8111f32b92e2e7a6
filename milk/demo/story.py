"""What happens to the milk and wheels of the story, and what goes wrong on purpose."""

from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from config import entries
from config.entries import Stamp
from herd.models import Animal, Course
from herd.services import treatments
from milk.demo.book import entry, write
from milk.demo.estate import OLD_MAKE_DAYS, Estate
from milk.models import (
    Dispatch,
    Inspection,
    LotTest,
    Milking,
    MilkLot,
    Tank,
    TankEvent,
    Vat,
    VatFill,
    Wheel,
)
from milk.results import UNITS
from milk.services import milkings

SHELVES, COLUMNS = 20, 30
OLD_VATS = 6
OLD_GROUPS = (9, 10, 11)
OLD_KG = Decimal(2200)
SENT = 8
LIFTED = timedelta(hours=3)


def make_old_make(estate: Estate) -> None:
    """A day of more than a year ago, known by groups only: its wheels are old enough to be sold."""
    day = estate.today - timedelta(days=OLD_MAKE_DAYS)
    tank = estate.tanks["C"]
    write(old_milkings(estate, day, tank))
    by = estate.people["cheesemaker"]
    at = estate.at(day, "06:15")
    vats = write(
        entry(Vat, by, at, day=day, number=23 + index, fat=Decimal("3.02"), lifted_at=at + LIFTED)
        for index in range(OLD_VATS)
    )
    share = OLD_KG * len(OLD_GROUPS) / OLD_VATS
    write(
        entry(VatFill, by, at + timedelta(minutes=4 * index), vat=vat, tank=tank, kg=share)
        for index, vat in enumerate(vats)
    )
    write([entry(TankEvent, by, estate.at(day, "08:00"), tank=tank, what="washed")])
    wheels = write(old_wheels(by, vats))
    graded = estate.now - timedelta(days=14)
    write(entry(Inspection, by, graded, wheel=one, way="tap", grade="first") for one in wheels)
    write(dispatches(estate, wheels[:SENT]))


def old_milkings(estate: Estate, day: date, tank: Tank) -> Iterator[Milking]:
    for index, number in enumerate(OLD_GROUPS):
        yield entry(
            Milking,
            estate.people["milker"],
            estate.at(day, f"04:{10 * index:02d}"),
            group=estate.groups[number],
            day=day,
            session="M",
            tank=tank,
            kg=OLD_KG,
            read_kg=OLD_KG,
            ended_at=estate.at(day, f"05:{10 * index:02d}"),
        )


def old_wheels(by: Any, vats: list[Vat]) -> Iterator[Wheel]:
    for index, vat in enumerate(vats, start=1):
        for number, twin in enumerate("AB"):
            plate = f"{3000 + 2 * index + number:07d}"
            lifted = vat.happened_at + LIFTED
            yield entry(Wheel, by, lifted, plate=plate, vat=vat, twin=twin, kg=Decimal("47.8"))


def dispatches(estate: Estate, wheels: list[Wheel]) -> Iterator[Dispatch]:
    for index, wheel in enumerate(wheels):
        yield entry(
            Dispatch,
            estate.people["office"],
            estate.now - timedelta(days=9),
            wheel=wheel,
            buyer=buyer(estate, index),
            kg=Decimal("40.4"),
            paper=f"LF-{700 + index // 4}",
            order="autumn order",
        )


def buyer(estate: Estate, index: int) -> Any:
    names = ("Brackwater cheese shop", "Thornvale ripeners")
    return estate.holdings[names[index // 4 % 2]]


def make_lot_tests(estate: Estate) -> None:
    """A sample of every lot that went to the dairy; one of yesterday's comes back too high."""
    write(tests_of(estate))


def tests_of(estate: Estate) -> Iterator[LotTest]:
    dice = estate.dice
    lots = MilkLot.objects.valid().filter(tank__use="receiving").order_by("opened_at", "id")
    too_high = lots.filter(
        tank__name="C", day=estate.today - timedelta(days=1), session="M"
    ).first()
    for number, lot in enumerate(lots, start=1):
        taken = lot.opened_at + timedelta(hours=1, minutes=40)
        if taken > estate.now:
            continue
        plate = 236 if lot == too_high else round(min(90, 8 + dice.lognormvariate(2.2, 0.5)))
        cells = 447 if lot == too_high else round(dice.gauss(235, 28))
        values = {
            "plate": str(plate),
            "cells": str(cells),
            "fat": f"{dice.gauss(4.0, 0.08):.2f}",
            "protein": f"{dice.gauss(3.55, 0.05):.2f}",
        }
        sample = f"S{number:05d}"
        for what, written in values.items():
            yield entry(
                LotTest,
                estate.people["office"],
                taken,
                lot=lot,
                what=what,
                value=Decimal(written),
                written=written,
                unit=UNITS[what],
                sample=sample,
                laboratory="Larkfold bench",
            )
        yield entry(
            LotTest,
            estate.people["cheesemaker"],
            taken,
            lot=lot,
            what="inhibitor",
            verdict="negative",
            written="neg",
            sample=sample,
            method="broad microbial",
        )


def write_late_course(estate: Estate) -> Course:
    """A course given two days ago and written only now: its milk is curd already."""
    patient: Animal = estate.herd[5][41]
    given_at = estate.at(estate.today - timedelta(days=2), "06:10")
    vet = estate.people["vet"]
    course = treatments.record_course(
        stamp=Stamp.now(vet, given_at, device="demo"),
        animal=patient,
        medicine=estate.medicines["Demolactin tubes"],
        diagnosis="mastitis, right hind",
        route="udder",
        dose=Decimal(1),
        doses=1,
        interval_hours=12,
        prescriber="the estate's vet, Larkfold",
        supplier=estate.holdings["Saltbeck medicines"],
        proof="delivery note 1207",
    )
    treatments.record_dose(
        stamp=Stamp.now(estate.people["stockman"], given_at, device="demo"),
        course=course,
        quantity=Decimal(1),
        quarter="RH",
        batch="DEMOLA-7",
    )
    return course


def strike_a_milking(estate: Estate) -> None:
    """A milking written with a figure too few, struck and written again."""
    wrong = (
        Milking.objects.standing()
        .filter(group=estate.groups[10], session="E", happened_at__lt=estate.now)
        .order_by("-happened_at")[1]
    )
    milkings.correct_milking(
        wrong,
        stamp=Stamp.now(estate.people["milker"], wrong.happened_at, device="demo"),
        reason="quantity",
        words="A figure was left out on the line sheet.",
        kg=wrong.kg + Decimal(40),
    )


def strike_a_test(estate: Estate) -> None:
    """A result entered twice: one of them is struck."""
    first = LotTest.objects.standing().filter(what="fat").order_by("-happened_at").first()
    if first is None:
        return
    second = entries.record(
        LotTest,
        stamp=Stamp.now(estate.people["office"], first.happened_at, device="demo"),
        lot=first.lot,
        what="fat",
        value=first.value,
        written=first.written,
        unit=first.unit,
        sample=first.sample + "b",
    )
    entries.strike(second, by=estate.people["office"], reason="twice")
