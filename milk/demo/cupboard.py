"""The demo's medicine cupboard: receipts, a breakage, a count, a batch past its date."""

from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal

from config.entries import Stamp
from herd.models import Course, Medicine, MedicineMove
from herd.services import treatments
from milk.demo.book import entry, write
from milk.demo.estate import Estate

# Before the first dry-off of the story, and past the last day it tells of.
CAME_DAYS_AGO, GOOD_FOR = 140, timedelta(days=400)
RECEIVED = {
    "Demolactin tubes": 400,
    "Demoject 120": 1500,
    "Demoflam": 700,
    "Demodry": 800,
    "Demoseal": 1200,
}
PROOF = "delivery note 1207"
PRESCRIBER = "the estate's vet, Larkfold, phone 0999 1207"


def batch_of(medicine: Medicine) -> str:
    """The number on the packs of the delivery that is being used."""
    return f"{medicine.name[:6].upper()}-7"


def make_cupboard(estate: Estate) -> None:
    """What came in and left besides the doses; what is amiss is so on purpose."""
    write(receipts(estate))
    write(moves(estate))


def receipts(estate: Estate) -> Iterator[MedicineMove]:
    day = estate.today - timedelta(days=CAME_DAYS_AGO)
    for medicine in estate.medicines.values():
        yield entry(
            MedicineMove,
            estate.people["vet"],
            estate.at(day, "09:00"),
            medicine=medicine,
            what="received",
            quantity=Decimal(RECEIVED[medicine.name]),
            batch=batch_of(medicine),
            expires_on=estate.today + GOOD_FOR,
            proof=PROOF,
            supplier=estate.holdings["Saltbeck medicines"],
        )
    yield entry(
        MedicineMove,
        estate.people["vet"],
        estate.at(day, "09:05"),
        medicine=estate.medicines["Demoflam"],
        what="received",
        quantity=Decimal(50),
        batch="DEMOFL-5",
        # Lies there past its date, and somebody has to take it back.
        expires_on=estate.today - timedelta(days=12),
        proof=PROOF,
        supplier=estate.holdings["Saltbeck medicines"],
    )


def moves(estate: Estate) -> Iterator[MedicineMove]:
    vet = estate.people["vet"]
    ago = timedelta(days=1, hours=3)
    tubes, dry = estate.medicines["Demolactin tubes"], estate.medicines["Demodry"]
    yield entry(
        MedicineMove,
        vet,
        estate.now - ago,
        medicine=tubes,
        what="broken",
        quantity=Decimal(2),
        batch=batch_of(tubes),
    )
    yield entry(
        MedicineMove,
        vet,
        estate.now - ago / 2,
        medicine=dry,
        what="counted",
        quantity=Decimal(RECEIVED["Demodry"]) - dried_off(estate) - 3,
        batch=batch_of(dry),
    )


def dried_off(estate: Estate) -> Decimal:
    """How many dry-cow tubes the story used, four a cow."""
    return Decimal(4 * int(estate.medicines["Demodry"].dry_offs.count()))


def strike_a_course(estate: Estate) -> Course:
    """A course written on the wrong cow and written again on the right one."""
    vet = estate.people["vet"]
    right, wrong = estate.herd[6][8], estate.herd[6][9]
    at = estate.at(estate.today - timedelta(days=1), "07:15")
    medicine = estate.medicines["Demoflam"]
    fields = {
        "medicine": medicine,
        "diagnosis": "swollen hock, left hind",
        "route": "vein",
        "dose": Decimal(20),
        "doses": 1,
        "interval_hours": 24,
        "prescriber": PRESCRIBER,
        "prescribed_on": at.date(),
    }
    course = treatments.record_course(
        stamp=Stamp.now(vet, at, device="demo"), animal=wrong, **fields
    )
    treatments.record_dose(
        stamp=Stamp.now(vet, at, device="demo"),
        course=course,
        quantity=Decimal(20),
        batch=batch_of(medicine),
    )
    return treatments.correct_course(
        course,
        stamp=Stamp.now(vet, at, device="demo"),
        reason="animal",
        words="Read the number of the cow beside her.",
        animal=right,
        **fields,
    )
