"""The wheels of the story after the lift: rows of brine, shelves, rounds, climate, findings."""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import groupby
from typing import Any

from milk.brine import same_hour
from milk.demo.book import entry, write
from milk.demo.estate import BRINE_DAYS, Estate
from milk.models import (
    BrineOut,
    BrineReading,
    BrineRow,
    BrineStay,
    RoomReading,
    StockCount,
    StoreFinding,
    StorePlace,
    StoreRound,
    StoreStay,
    Wheel,
)
from milk.services import wheel_places

BATHS, ROWS, ROW_HOLDS, ROW_FILLED = 5, 26, 14, 12
ROOM, AISLES, COLUMNS, SHELVES = "Long store", 6, 30, 12
# Put in the afternoon after the lift; in the story one row was forgotten for some days.
PUT_IN, TAKEN_OUT, LAID = "15:00", "15:10", "16:00"
FORGOTTEN_DAYS = 3
FORGOTTEN_ROW = 2
TURNED_EVERY = 8
LATE_AISLE, LATE_DAYS = 2, 14
FINDINGS = (
    (5, "mites", "along the edge", True),
    (41, "crack", "finger long, on the heel", False),
    (77, "wet", "lay on a wet board", True),
    (103, "swollen", "sounds hollow, look again on the next round", False),
)


def make_store(estate: Estate) -> None:
    """Every wheel a day after its lift into a row, after its days out of it and onto a shelf."""
    by = estate.people["store hand"]
    write(brine_rows(estate))
    wheels = list(Wheel.objects.standing().order_by("happened_at", "plate"))
    stays = write(brine_stays(estate, by, wheels))
    outs = write(brine_outs(estate, by, stays))
    places = write(store_places(estate))
    write(
        entry(StoreStay, by, estate.at(day_of(estate, out), LAID), wheel=out.wheel, place=place)
        for out, place in zip(outs, places, strict=False)
        if estate.at(day_of(estate, out), LAID) < estate.now
    )
    write(brine_readings(estate))
    write(room_readings(estate))
    write(store_rounds(estate))
    write(shelves_cleaned(estate))
    write(findings(estate, [out.wheel for out in outs]))
    wheel_places.rebuild_all()
    write(a_count(estate))


def day_of(estate: Estate, moment: Any) -> Any:
    return moment.happened_at.astimezone(estate.zone).date()


def brine_rows(estate: Estate) -> Iterator[BrineRow]:
    for bath in range(1, BATHS + 1):
        for row in range(1, ROWS + 1):
            yield entry(
                BrineRow,
                estate.people["cheesemaker"],
                estate.now - timedelta(days=600),
                bath=str(bath),
                row=str(row),
                holds=ROW_HOLDS,
            )


def brine_stays(estate: Estate, by: Any, wheels: Sequence[Wheel]) -> Iterator[BrineStay]:
    """A day's wheels go into the next rows, a dozen in each."""
    number = 0
    for _, made in groupby(wheels, key=lambda wheel: day_of(estate, wheel)):
        todays = list(made)
        at = estate.at(day_of(estate, todays[0]) + timedelta(days=1), PUT_IN)
        for index, wheel in enumerate(todays):
            if index % ROW_FILLED == 0:
                number += 1
            slot = number % (BATHS * ROWS)
            if at < estate.now:
                bath, row = str(1 + slot // ROWS), str(1 + slot % ROWS)
                yield entry(BrineStay, by, at, wheel=wheel, bath=bath, row=row)


def brine_outs(estate: Estate, by: Any, stays: Sequence[BrineStay]) -> Iterator[BrineOut]:
    """Each row comes out on its day; one of those due some days ago was forgotten."""
    forgotten = ""
    rows = 0
    for (bath, row, put_in), lying in groupby(
        stays, key=lambda stay: (stay.bath, stay.row, stay.happened_at)
    ):
        due = same_hour(put_in, BRINE_DAYS, estate.zone)
        out = estate.at(due.astimezone(estate.zone).date(), TAKEN_OUT)
        if out >= estate.now:
            continue
        days_ago = (estate.today - due.astimezone(estate.zone).date()).days
        if days_ago == FORGOTTEN_DAYS and not forgotten:
            rows += 1
            if rows == FORGOTTEN_ROW:
                forgotten = f"{bath}/{row}"
                continue
        for stay in lying:
            yield entry(BrineOut, by, out, wheel=stay.wheel, stay=stay, put_in_at=put_in)


def store_places(estate: Estate) -> Iterator[StorePlace]:
    for aisle in range(1, AISLES + 1):
        for column in range(1, COLUMNS + 1):
            for shelf in range(1, SHELVES + 1):
                yield entry(
                    StorePlace,
                    estate.people["store hand"],
                    estate.now - timedelta(days=600),
                    room=ROOM,
                    aisle=aisle,
                    column=column,
                    shelf=shelf,
                )


def brine_readings(estate: Estate) -> Iterator[BrineReading]:
    """Each bath every second day; salt is put in as it grows weak, one bath is weak now."""
    for index, day in enumerate(estate.all_days()):
        at = estate.at(day, "14:30")
        if index % 2 or at > estate.now:
            continue
        for bath in range(1, BATHS + 1):
            strength = Decimal("23.5") - Decimal("0.3") * ((index // 2 + bath) % 6)
            last = (estate.today - day).days < 2
            yield entry(
                BrineReading,
                estate.people["cheesemaker"],
                at,
                bath=str(bath),
                strength=Decimal("19.2") if last and bath == BATHS else strength,
                temperature=Decimal(round(estate.dice.gauss(15, 0.5), 1)),
                salt_kg=Decimal(25) if strength < Decimal("22.3") else None,
                salt_batch="S-14" if strength < Decimal("22.3") else "",
                turned=True,
            )


def room_readings(estate: Estate) -> Iterator[RoomReading]:
    """Twice a day; since the noon of today the store is a little too warm."""
    for day in estate.all_days():
        for clock in ("07:00", "13:00"):
            at = estate.at(day, clock)
            if at > estate.now:
                continue
            warm = day == estate.today and clock == "13:00"
            yield entry(
                RoomReading,
                estate.people["store hand"],
                at,
                room=ROOM,
                temperature=Decimal("19.1") if warm else climate(estate, 16.8, 0.3),
                humidity=climate(estate, 82.5, 0.7),
            )


def climate(estate: Estate, mean: float, spread: float) -> Decimal:
    return Decimal(round(estate.dice.gauss(mean, spread), 1))


def store_rounds(estate: Estate) -> Iterator[StoreRound]:
    """Every aisle in turn; one was passed over."""
    for day in estate.all_days():
        ago = (estate.today - day).days
        for aisle in range(1, AISLES + 1):
            at = estate.at(day, f"09:{10 + aisle}")
            if (ago + 2 * aisle) % TURNED_EVERY or at > estate.now:
                continue
            if aisle == LATE_AISLE and ago < LATE_DAYS:
                continue
            yield entry(StoreRound, estate.people["store hand"], at, room=ROOM, aisle=aisle)


def shelves_cleaned(estate: Estate) -> Iterator[StoreRound]:
    """The shelves of all aisles but one were washed on one day lately."""
    at = estate.now - timedelta(days=23)
    for aisle in range(1, AISLES + 1):
        if aisle != LATE_AISLE:
            yield entry(
                StoreRound,
                estate.people["store hand"],
                at,
                room=ROOM,
                aisle=aisle,
                what=StoreRound.What.SHELVES,
            )


def findings(estate: Estate, stored: Sequence[Wheel]) -> Iterator[StoreFinding]:
    """What was wrong with some wheels on the round of some days ago."""
    at: datetime = estate.now - timedelta(days=3, hours=2)
    for place, what, words, right in FINDINGS:
        if place < len(stored):
            yield entry(
                StoreFinding,
                estate.people["store hand"],
                at,
                wheel=stored[place],
                what=what,
                words=words,
                put_right=right,
            )


def a_count(estate: Estate) -> Iterator[StockCount]:
    """The first aisle was counted last week, and agreed."""
    lying = StoreStay.objects.filter(
        place__room=ROOM, place__aisle=1, happened_at__lt=estate.now - timedelta(days=7)
    ).count()
    if lying:
        yield entry(
            StockCount,
            estate.people["store hand"],
            estate.now - timedelta(days=7),
            room=ROOM,
            aisle=1,
            expected=lying,
            found=lying,
        )
