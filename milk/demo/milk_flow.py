"""Milkings, trays, vats and wheels of the story, written as facts; lots are computed from them."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from config.copying import copy_rows
from milk.demo.book import entry, write
from milk.demo.estate import (
    EVENING_LATER,
    LINES,
    METERED,
    MILKING_LASTS,
    STARTS,
    VATS_PER_TANK,
    Estate,
)
from milk.demo.hall_book import make_starter
from milk.models import (
    CowMilking,
    Milking,
    StarterCan,
    Tank,
    TankEvent,
    Tray,
    Vat,
    VatFill,
    Wheel,
)
from milk.services.arrivals import note_all

Row = dict[str, Any]
TO_TANK, KEPT_OUT = int(CowMilking.Goes.TANK), int(CowMilking.Goes.KEPT_OUT)
SHARES = {"M": 0.55, "E": 0.45}
GRAM = Decimal("0.001")
DECI = Decimal("0.1")
# On this many days before today tank A was topped up before it was emptied and washed.
TOPPED_UP_DAYS_AGO = 3
LEFT_FOR_TOP_UP = Decimal(1320)
DRAWN_BEFORE_TOP_UP = Decimal(700)
CAPACITY = {"A": 9000, "B": 9000, "C": 9000, "H": 6000, "W": 3000}
USE = {"H": "hold", "W": "waste"}


def make_tanks(estate: Estate) -> None:
    start = estate.now - timedelta(days=500)
    rows = [
        entry(
            Tank,
            estate.people["cheesemaker"],
            start,
            name=name,
            capacity_kg=Decimal(kg),
            use=USE.get(name, "receiving"),
        )
        for name, kg in CAPACITY.items()
    ]
    estate.tanks = {tank.name: tank for tank in write(rows)}


def make_milkings(estate: Estate) -> None:
    """Every group's milkings, and what the meters read of every cow."""
    plans = [plan for day in estate.all_days() for plan in day_plan(estate, day)]
    drawn = [(plan, cow_rows(estate, plan)) for plan in plans]
    milkings = write(milking_of(estate, plan, rows) for plan, rows in drawn)
    copy_rows(
        CowMilking,
        (
            {**row, "milking_id": milking.pk}
            for milking, (_, rows) in zip(milkings, drawn, strict=True)
            for row in rows
            if milking.metered or row["goes"] == KEPT_OUT
        ),
    )
    note_all()


def day_plan(estate: Estate, day: date) -> Iterator[tuple[date, str, int, str, datetime]]:
    """(day, session, group, tank, start) of every milking that has ended by now."""
    for session, later in (("M", timedelta(0)), ("E", EVENING_LATER)):
        for tank, numbers in LINES.items():
            for number in numbers:
                start = estate.at(day, STARTS[number]) + later
                if start + MILKING_LASTS <= estate.now:
                    yield day, session, number, tank, start


def cow_rows(estate: Estate, plan: tuple[date, str, int, str, datetime]) -> list[Row]:
    """One meter row a cow: her grams, or kept out while the story keeps her out."""
    _, session, number, tank, start = plan
    rows = []
    for index, animal in enumerate(estate.herd[number]):
        if estate.in_milk_from[animal.pk] > start:
            continue
        out = tank != "W" and estate.is_out(animal.pk, start)
        kg = max(2.0, estate.dice.gauss(estate.levels[animal.pk] * SHARES[session], 1.1))
        row: Row = {"animal_id": animal.pk, "grams": None, "goes": KEPT_OUT if out else TO_TANK}
        if number in METERED:
            row.update(grams=round(kg * 1000), at_s=min(10 * index, 2000))
        rows.append(row)
    return rows


def milking_of(
    estate: Estate, plan: tuple[date, str, int, str, datetime], rows: list[Row]
) -> Milking:
    day, session, number, tank, start = plan
    to_tank = [row for row in rows if row["goes"] == TO_TANK]
    if number in METERED:
        kg = Decimal(sum(row["grams"] or 0 for row in to_tank)) / 1000
    else:
        kg = Decimal(str(round(len(to_tank) * 24 * SHARES[session], 1)))
    return entry(
        Milking,
        estate.people["milker"],
        start,
        group=estate.groups[number],
        day=day,
        session=session,
        tank=estate.tanks[tank],
        ended_at=start + MILKING_LASTS,
        read_kg=None if number in METERED else kg.quantize(GRAM),
        kg=kg.quantize(GRAM),
        metered=number in METERED,
    )


class DairyDay:
    """The dairy hall of one day: morning vats of last evening's trays and this morning's tanks."""

    def __init__(self, estate: Estate, milkings: dict[tuple[date, str, str], Decimal]) -> None:
        self.estate = estate
        self.kg_of = milkings
        self.events: list[TankEvent] = []
        self.trays: list[Tray] = []
        self.vats: list[Vat] = []
        self.fills: list[VatFill] = []
        self.plate = 4000

    def run(self) -> None:
        """Make every day's trays, vats and washes, and write them."""
        for day in self.estate.all_days():
            for tank in ("A", "B", "C"):
                self.morning(day, tank)
                self.evening(day, tank)
            self.wash(day, "W", "09:30")
        write(tray for tray in self.trays)
        self.write_vats()
        write(fill for fill in self.fills)
        write(event for event in self.events)
        write(self.wheels())

    def write_vats(self) -> None:
        """The vats day by day, each begun with whey of the day before."""
        cans: list[StarterCan] = []
        for day in self.estate.all_days():
            vats = [vat for vat in self.vats if vat.day == day]
            for index, vat in enumerate(vats):
                vat.starter_can = cans[index % len(cans)] if cans else None
            cans = make_starter(self.estate, write(vats))

    def by(self) -> Any:
        return self.estate.people["cheesemaker"]

    def tops_up(self, day: date, tank: str) -> bool:
        """Whether this tank is topped up on the morning of ``day``."""
        topped_up = self.estate.today - timedelta(days=TOPPED_UP_DAYS_AGO)
        return tank == "A" and day == topped_up > self.estate.first_day

    def wash(self, day: date, tank: str, clock: str) -> None:
        at = self.estate.at(day, clock)
        if at <= self.estate.now:
            self.events.append(
                entry(TankEvent, self.by(), at, tank=self.estate.tanks[tank], what="washed")
            )

    def evening(self, day: date, tank: str) -> None:
        """Spread the evening milk into trays, then wash; but leave some before a top-up."""
        kept = LEFT_FOR_TOP_UP if self.tops_up(day + timedelta(days=1), tank) else Decimal(0)
        kg = self.kg_of.get((day, "E", tank), Decimal(0)) - kept
        at = self.estate.at(day, "18:30")
        if kg <= 0 or at + timedelta(hours=1) > self.estate.now:
            return
        first = {"A": 1, "B": 12, "C": 23}[tank]
        for index, part in enumerate(split(kg, VATS_PER_TANK)):
            start = at + timedelta(minutes=3 * index)
            self.trays.append(
                entry(
                    Tray,
                    self.by(),
                    start,
                    number=first + index,
                    tank=self.estate.tanks[tank],
                    kg=part,
                    ended_at=start + timedelta(minutes=2),
                    cream_kg=(part * Decimal("0.04")).quantize(DECI),
                    temperature=Decimal(17),
                )
            )
        if not kept:
            self.wash(day, tank, "19:30")

    def morning(self, day: date, tank: str) -> None:
        """Eleven vats a tank: a tray each, then this morning's milk."""
        kg = self.kg_of.get((day, "M", tank), Decimal(0))
        at = self.estate.at(day, "06:15")
        if kg <= 0 or at + timedelta(hours=2) > self.estate.now:
            return
        first = {"A": 1, "B": 12, "C": 23}[tank]
        vats = [self.vat(day, first + index, at) for index in range(VATS_PER_TANK)]
        self.pour_trays(day, tank, vats)
        if self.tops_up(day, tank):
            # Before the cows came in, the first vat took some of what last evening left.
            self.fill(vats[0], self.estate.at(day, "03:30"), tank, DRAWN_BEFORE_TOP_UP)
            vats[0].happened_at = self.estate.at(day, "03:30")
            kg += LEFT_FOR_TOP_UP - DRAWN_BEFORE_TOP_UP
        for index, (vat, part) in enumerate(zip(vats, split(kg, len(vats)), strict=True)):
            self.fill(vat, at + timedelta(minutes=4 * index), tank, part)
        self.wash(day, tank, "08:00")

    def vat(self, day: date, number: int, at: datetime) -> Vat:
        dice = self.estate.dice
        vat = entry(
            Vat,
            self.by(),
            at,
            day=day,
            number=number,
            fat=Decimal(round(dice.gauss(3.05, 0.06), 2)),
            protein=Decimal(round(dice.gauss(3.52, 0.04), 2)),
            casein=Decimal(round(dice.gauss(2.75, 0.03), 2)),
            starter_l=Decimal(31),
            rennet_batch="RB-88",
            rennet_g=Decimal(34),
            set_at=at + timedelta(minutes=55),
            lifted_at=at + timedelta(hours=3),
        )
        self.vats.append(vat)
        return vat

    def pour_trays(self, day: date, tank: str, vats: list[Vat]) -> None:
        evening = self.estate.at(day, "00:00") - timedelta(hours=6)
        ours = [
            tray
            for tray in self.trays[-40:]
            if tray.tank == self.estate.tanks[tank] and tray.happened_at > evening
        ]
        for vat, tray in zip(vats, ours, strict=False):
            skimmed = tray.kg - (tray.cream_kg or 0)
            self.fills.append(
                entry(
                    VatFill,
                    self.by(),
                    vat.happened_at - timedelta(minutes=30),
                    vat=vat,
                    tray=tray,
                    kg=skimmed,
                )
            )

    def fill(self, vat: Vat, at: datetime, tank: str, kg: Decimal) -> None:
        self.fills.append(
            entry(
                VatFill,
                self.by(),
                at,
                vat=vat,
                tank=self.estate.tanks[tank],
                kg=kg,
                ended_at=at + timedelta(minutes=3),
            )
        )

    def wheels(self) -> Iterator[Wheel]:
        for vat in self.vats:
            lifted = vat.lifted_at
            if lifted is None or lifted > self.estate.now:
                continue
            for twin in "AB":
                self.plate += 1
                yield entry(
                    Wheel,
                    self.by(),
                    lifted,
                    plate=f"{self.plate:07d}",
                    vat=vat,
                    twin=twin,
                    kg=Decimal(round(self.estate.dice.gauss(47.6, 0.7), 1)),
                )


def split(kg: Decimal, parts: int) -> list[Decimal]:
    """``kg`` in equal parts of a tenth; the last takes the rest, so that they add up."""
    part = (kg / parts).quantize(DECI)
    return [*[part] * (parts - 1), kg - part * (parts - 1)]


def make_dairy(estate: Estate) -> None:
    """Trays, vats and wheels of all days, from what the milkings brought into each tank."""
    kg_of: dict[tuple[date, str, str], Decimal] = {}
    for milking in Milking.objects.standing().select_related("tank"):
        if milking.tank is not None:
            key = (milking.day, milking.session, milking.tank.name)
            kg_of[key] = kg_of.get(key, Decimal(0)) + milking.kg
    DairyDay(estate, kg_of).run()
