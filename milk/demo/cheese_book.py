"""Older makes of the story, their grades and marks, the product, and orders picked and sent."""

from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from config import entries
from config.entries import Stamp
from milk.demo import story
from milk.demo.book import entry, write
from milk.demo.estate import OLDER_MAKES, Estate
from milk.fetch_list import fetch_list
from milk.models import (
    Fault,
    Grade,
    Inspection,
    Order,
    OrderLine,
    Product,
    RindMark,
    TankEvent,
    Vat,
    VatFill,
    Wheel,
)
from milk.ordered import ordered
from milk.services import dispatch, orders

# Of the example numbers that GS1 gives to nobody.
GTIN, PREFIX = "09521234543213", "9521234"
FIRST_PLATE = 2000
# Every so many wheels: (grade, fault, what is done to the rind).
WORSE = {
    7: (Grade.SLIGHT, "spot on the rind", ""),
    11: (Grade.SECOND, "hollow sound", RindMark.What.GROOVED),
    19: (Grade.DOWNGRADED, "blown", RindMark.What.REMOVED),
}
WHEEL_KG = Decimal("40.3")


def make_older_makes(estate: Estate) -> None:
    """Some days of wheels that are ripe by now, so that there is something to tap and to sell."""
    by, tank = estate.people["cheesemaker"], estate.tanks["C"]
    share = story.OLD_KG * len(story.OLD_GROUPS) / story.OLD_VATS
    for number, days in enumerate(OLDER_MAKES):
        day = estate.today - timedelta(days=days)
        at = estate.at(day, "06:15")
        write(story.old_milkings(estate, day, tank))
        vats = write(
            entry(Vat, by, at, day=day, number=23 + place, lifted_at=at + story.LIFTED)
            for place in range(story.OLD_VATS)
        )
        write(
            entry(VatFill, by, at + timedelta(minutes=4 * place), vat=vat, tank=tank, kg=share)
            for place, vat in enumerate(vats)
        )
        write([entry(TankEvent, by, estate.at(day, "08:00"), tank=tank, what="washed")])
        wheels = write(older_wheels(by, vats, FIRST_PLATE + 100 * number))
        grade(estate, wheels)


def older_wheels(by: Any, vats: list[Vat], first: int) -> Iterator[Wheel]:
    for place, vat in enumerate(vats):
        for twin, number in (("A", 1), ("B", 2)):
            plate = f"{first + 2 * place + number:07d}"
            lifted = vat.happened_at + story.LIFTED
            yield entry(Wheel, by, lifted, plate=plate, vat=vat, twin=twin, kg=Decimal("47.6"))


def grade(estate: Estate, wheels: list[Wheel]) -> None:
    """Three in four tapped lately, some of them with a fault; the others are due."""
    by = estate.people["cheesemaker"]
    faults = {fault.name: fault for fault in Fault.objects.standing()}
    tapped = [wheel for place, wheel in enumerate(wheels) if place % 4 != 3]
    looked, marked = [], []
    for wheel in tapped:
        kind, fault, mark = worse(int(wheel.plate))
        at = estate.now - timedelta(days=20)
        looked.append(
            entry(Inspection, by, at, wheel=wheel, way="tap", grade=kind, fault=faults.get(fault))
        )
        if mark:
            marked.append(entry(RindMark, by, at + timedelta(hours=1), wheel=wheel, what=mark))
    write(looked)
    write(marked)


def worse(plate: int) -> tuple[str, str, str]:
    """The grade, fault and mark of a wheel by its plate."""
    for every, said in WORSE.items():
        if plate % every == 0:
            return said
    return Grade.FIRST, "", ""


def make_product(estate: Estate) -> Product:
    """What labels and papers call the cheese."""
    stamp = Stamp.now(estate.people["office"], estate.at(estate.first_day, "09:00"), device="demo")
    product: Product = entries.record(
        Product,
        stamp=stamp,
        name="Larkfold long-aged",
        description="hard cheese of raw cow's milk, whole wheels",
        gtin=GTIN,
        prefix=PREFIX,
        holding=estate.holdings["Larkfold dairy hall"],
        valid_from=date(2020, 1, 1),
        source="an example number of GS1 that is given to nobody's goods",
    )
    return product


def make_orders(estate: Estate) -> None:
    """One order sent on its pallet, one half picked, one just come."""
    product = make_product(estate)
    sent = make_order(estate, product, "101", "Brackwater cheese shop", 9, ("first", 12, 4))
    fill(estate, sent, days=3, wheels=4)
    dispatch.send_order(
        stamp=stamp(estate, "office", 2),
        order=sent,
        paper="LF-721",
        carrier="Hollin carriers",
        vehicle="van 3",
        temperature=Decimal("11.0"),
    )
    half = make_order(estate, product, "102", "Thornvale ripeners", 4, ("slight", 13, 8))
    fill(estate, half, days=1, wheels=3)
    make_order(estate, product, "103", "Brackwater cheese shop", 1, ("first", 24, 3))


def stamp(estate: Estate, role: str, days: int) -> Stamp:
    return Stamp.now(estate.people[role], estate.now - timedelta(days=days), device="demo")


def make_order(
    estate: Estate,
    product: Product,
    number: str,
    buyer: str,
    days: int,
    asked: tuple[str, int, int],
) -> Order:
    """An order of so many days ago with one line: (grade, months, wheels)."""
    at = stamp(estate, "office", days)
    order = entries.record(
        Order,
        stamp=at,
        number=number,
        buyer=estate.holdings[buyer],
        product=product,
        wanted_on=estate.today + timedelta(days=7 - days),
    )
    kind, months, pieces = asked
    entries.record(
        OrderLine, stamp=at.again(), order=order, grade=kind, months=months, pieces=pieces
    )
    return order


def fill(estate: Estate, order: Order, *, days: int, wheels: int) -> None:
    """A pallet, and the first wheels of the list on it."""
    at = stamp(estate, "store hand", days)
    pallet = orders.record_pallet(stamp=at, order=order)
    found = fetch_list(ordered(order, at.happened_at), at.happened_at)
    for one in found[:wheels]:
        orders.pick_wheel(
            stamp=at.again(),
            order=order,
            wheel=one.wheel,
            kg=WHEEL_KG,
            place=one.place,
            pallet=pallet,
        )
