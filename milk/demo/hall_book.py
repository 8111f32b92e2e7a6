"""The dairy hall of the story: marks of every make, looks at trays, starter, rennet, plates."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from decimal import Decimal
from random import Random

from milk.demo.book import entry, write
from milk.demo.estate import Estate
from milk.models import (
    PlateLoss,
    PlateReceipt,
    RennetBatch,
    RennetStep,
    Skimming,
    StarterCan,
    Tray,
    Vat,
    VatMark,
    Wheel,
    WheelWeight,
    WheyAdded,
)
from milk.services.marks import keep_marks
from milk.services.plates import keep_weights
from milk.services.skimming import keep_cream

# Minutes from the filling to each mark; the clot and what follows it vary.
SET_AFTER, CUT_AFTER_CLOT, HEATING, REST, LIFT = 55, 2, 12, 50, 6
SKIMMED_AFTER = timedelta(hours=9)
WEIGHED_AFTER = timedelta(hours=25)
CLOT_MINUTES, SPREAD = 10.2, 0.7
SLOW_BY = 6
# Two vats of one tank clot slowly this many days before today.
SLOW_DAYS_AGO, SLOW_VATS = 1, (14, 15)
PLATES = (("0002000", "0003999"), ("0004001", "0006999"))
BROKEN = ("0003101", "0003102")
LOST = "0003140"


def make_hall(estate: Estate) -> None:
    """Write the hall's entries, and keep what follows from them beside vats, trays and wheels."""
    # Dice of its own: the rest of the story falls as it did.
    dice = Random(estate.seed + 1)
    vats = list(Vat.objects.standing().order_by("happened_at", "number"))
    write(mark for vat in vats for mark in marks_of(estate, vat, dice))
    keep_marks()
    write(skimmings(estate, dice))
    keep_cream()
    write(weights(estate))
    keep_weights()
    make_rennet(estate)
    make_plates(estate)


def marks_of(estate: Estate, vat: Vat, dice: Random) -> Iterator[VatMark]:
    """The marks of one make that have come by now."""
    by = estate.people["cheesemaker"]
    clot = max(7.0, dice.gauss(CLOT_MINUTES, SPREAD))
    slow = estate.today - timedelta(days=SLOW_DAYS_AGO)
    if vat.day == slow and vat.number in SLOW_VATS:
        clot += SLOW_BY
    at = vat.happened_at + timedelta(minutes=SET_AFTER + vat.number % 11 * 2)
    steps = (
        ("set", 0.0),
        ("clot", clot),
        ("cut", CUT_AFTER_CLOT),
        ("grain", dice.uniform(4, 6)),
        ("heated", HEATING + dice.uniform(-1, 2)),
        ("rested", REST + dice.uniform(-3, 4)),
        ("lifted", LIFT),
    )
    for what, minutes in steps:
        at += timedelta(minutes=round(minutes))
        if at > estate.now:
            return
        celsius = Decimal(round(dice.gauss(54.8, 0.3), 1)) if what == "heated" else None
        yield entry(VatMark, by, at, vat=vat, what=what, celsius=celsius)


def skimmings(estate: Estate, dice: Random) -> Iterator[Skimming]:
    """A look at every tray in the morning: cream off, fat after; one was set aside."""
    by = estate.people["cheesemaker"]
    for tray in Tray.objects.standing().order_by("happened_at", "number"):
        at = tray.happened_at + SKIMMED_AFTER
        if at > estate.now:
            # Already skimmed by the story: its cream is a look of this evening.
            at = tray.happened_at + timedelta(minutes=30)
        if tray.cream_kg is None or at > estate.now:
            continue
        yield entry(
            Skimming,
            by,
            at,
            tray=tray,
            cream_kg=tray.cream_kg,
            temperature=Decimal(round(dice.gauss(15.5, 0.6), 1)),
            fat=Decimal(round(dice.gauss(2.15, 0.07), 2)),
            smell="clean",
        )


def weights(estate: Estate) -> Iterator[WheelWeight]:
    """The first weight of every wheel that is a day old."""
    by = estate.people["cheesemaker"]
    for wheel in Wheel.objects.standing().filter(kg__isnull=False).order_by("id"):
        at = wheel.happened_at + WEIGHED_AFTER
        if at <= estate.now:
            yield entry(WheelWeight, by, at, wheel=wheel, kg=wheel.kg)


def make_rennet(estate: Estate) -> None:
    """The batch in use and the next one, as strong as its label says."""
    by, start = estate.people["cheesemaker"], estate.at(estate.first_day, "08:00")
    used, waiting = write(
        entry(RennetBatch, by, start, code=code, product="calf rennet, powder", g=g, strength=s)
        for code, g, s in (("RB-88", Decimal(60_000), 1200), ("RB-91", Decimal(20_000), 1150))
    )
    write(
        [
            entry(RennetStep, by, start + timedelta(hours=1), batch=used, what="opened"),
            entry(
                RennetStep, by, estate.now - timedelta(days=2), batch=waiting, what="counted",
                g=Decimal(20_000),
            ),
        ]
    )  # fmt: skip


def make_plates(estate: Estate) -> None:
    """The plates that came, two of them broken and one lost."""
    by = estate.people["cheesemaker"]
    start = estate.now - timedelta(days=900)
    write(
        entry(PlateReceipt, by, start, first=first, last=last, paper="LF-plates")
        for first, last in PLATES
    )
    lately = estate.now - timedelta(days=5)
    write(
        [
            *(entry(PlateLoss, by, lately, plate=one, what="broken") for one in BROKEN),
            entry(PlateLoss, by, lately, plate=LOST, what="lost", note="fell into the drain"),
        ]
    )


def make_starter(estate: Estate, vats: list[Vat]) -> list[StarterCan]:
    """Two cans of the whey of three of a day's vats each, for the vats of the next day."""
    by = estate.people["cheesemaker"]
    cans, added = [], []
    for name, begun in (("1", vats[:3]), ("2", vats[3:6])):
        at = filled_at(begun)
        if at is None or at > estate.now:
            continue
        can = entry(
            StarterCan, by, at, can=name, from_vat=begun[0], litres=Decimal(500),
            temperature=Decimal(52), acidity=Decimal("29.5"),
        )  # fmt: skip
        cans.append(can)
        added += [entry(WheyAdded, by, at, can=can, vat=vat) for vat in begun[1:]]
    written = write(cans)
    write(added)
    return written


def filled_at(vats: list[Vat]) -> datetime | None:
    """When whey of these vats was kept: after the last of them was lifted; None for no vats."""
    return max(vat.happened_at for vat in vats) + timedelta(hours=5) if vats else None
