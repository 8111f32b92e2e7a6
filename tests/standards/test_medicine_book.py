"""The medicine book against the law: Regulation (EU) 2019/6 Art. 105, 107 and 108.

Article 108(2) was read in its official German text; each item is checked in the page's columns, in
the API and in the table file. The rows of fixtures/medicine_rules.json are used as they are.
"""

import csv
import io
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django.db import DatabaseError, connection, transaction

from herd.book_asked import asked_for
from herd.book_paper import book_paper
from herd.medicine_book import medicine_book
from herd.medicine_rules import KEEP_BOOK, medicine_rules, years_after
from herd.models import Dose, MedicineMove
from herd.reference import load_reference
from tests.factories.herd import (
    DAY,
    LONG_AGO,
    NOON,
    make,
    make_animal,
    make_course,
    make_dose,
    make_dry_off,
    make_group,
    make_holding,
    make_medicine,
    make_stamp,
    make_user,
    put_in_group,
)

DAYS = {"since": "2026-06-01", "until": "2026-06-30"}


@pytest.fixture
def treated(db):
    """A cow treated on three days; the facts behind items (a) to (i)."""
    load_reference(make_stamp(at=LONG_AGO))
    medicine = make_medicine(0, name="Lanolactin", unit="tube", meat_days=0)
    make(
        MedicineMove,
        at=LONG_AGO,
        medicine=medicine,
        what="received",
        quantity=40,
        batch="B-1",
        expires_on=date(2027, 5, 31),
        supplier=make_holding(name="Saltbeck medicines", address="Salt Lane 3"),
        proof="invoice 77",
    )
    cow = make_animal(1042)
    put_in_group(cow, make_group(5))
    course = make_course(
        cow, medicine=medicine, doses=3, interval_hours=24, prescriber="Dr Ada Vetter, 0999 123"
    )
    for number in range(3):
        make_dose(course, at=NOON + number * DAY, batch="B-1")
    return course


# (item, what it asks for, column of the page and the file, what stands there, field of the API)
ITEMS = [
    ("a", "date of first administration", "First given", "2026-06-02 12:00", "first_given_at"),
    ("b", "name of the product", "Product", "Lanolactin", "product"),
    ("c", "quantity administered", "Quantity", "3 tube in 3 doses", "quantity"),
    ("d", "supplier's name", "Supplier, address", "Saltbeck medicines", "supplier"),
    ("d", "supplier's address", "Supplier, address", "Salt Lane 3", "supplier_address"),
    ("e", "evidence of acquisition", "Proof of purchase", "invoice 77", "proof"),
    ("f", "identity of the animal", "Animal, ear tag, group", "1042, 999 ", "ear_tag"),
    ("f", "or group", "Animal, ear tag, group", "group 5", "group"),
    ("g", "prescribing vet", "Prescribing vet, contact", "Dr Ada Vetter", "prescriber"),
    ("g", "and contact", "Prescribing vet, contact", "0999 123", "prescriber"),
    ("h", "milk period even if zero", "Milk withheld", "0 h", "milk_withheld"),
    ("h", "meat period even if zero", "Meat withheld", "0 days", "meat_withheld"),
    ("i", "duration of treatment", "Days treated", "3", "days"),
]


@pytest.mark.parametrize(("item", "asks", "column", "said", "field"), ITEMS)
def test_art_108_2(treated, inspector_client, inspector_api, item, asks, column, said, field):
    """Regulation (EU) 2019/6 Art. 108(2)(a) to (i)."""
    book = medicine_book(asked_for(since=date(2026, 6, 1), until=date(2026, 6, 30)))
    paper = book_paper(book, by=make_user(), at=NOON)
    heads = [one.head for one in paper.parts[0].columns]
    assert said in paper.parts[0].lines[0].cells[heads.index(column)], (item, asks)
    text = inspector_client.get("/herd/medicine-book/", {**DAYS, "as": "csv"}).content
    (row,) = csv.DictReader(io.StringIO(text.decode("utf-8-sig")))
    assert said in row[column]
    (line,) = inspector_api.get("/api/medicine-book/", **DAYS).json()["lines"]
    assert line[field] not in ("", None)
    assert paper.missing == ()


@pytest.mark.parametrize(
    ("hours", "written", "missing"), [(Decimal(0), "0 h", False), (None, "not known", True)]
)
def test_withdrawal_null_is_missing_and_zero_is_not(db, hours, written, missing):
    """Art. 108(2)(h): the withdrawal period even if zero."""
    make_dose(make_course(medicine=make_medicine(hours)))
    (line,) = medicine_book(asked_for(since=date(2026, 6, 1), until=date(2026, 6, 30))).lines
    assert line.milk_set == written
    assert ("milk withdrawal period not written" in line.missing) is missing


def test_art_108_5_five_years_at_least(treated):
    """Art. 108(5): at least five years. The day it starts is a convention: the last dose."""
    law = [row for row in medicine_rules((KEEP_BOOK,)).rows if row.scheme == "EU"]
    assert [int(row.value) for row in law] == [5]
    assert years_after(date(2026, 3, 1), 5) == date(2031, 3, 1)
    (line,) = medicine_book(asked_for(since=date(2026, 6, 1), until=date(2026, 6, 30))).lines
    assert line.keep_until >= years_after(date(2026, 6, 4), 5)


def test_art_108_5_an_entry_of_the_term_cannot_be_taken_out(treated):
    """An entry of 2026-03-01 is undeletable before 2031-03-01; here it is so for ever."""
    dose = make_dose(treated, at=datetime(2026, 3, 1, 8, 0, tzinfo=UTC))
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM herd_dose WHERE id = %s", [dose.pk])
    with pytest.raises(DatabaseError), transaction.atomic():
        Dose.objects.filter(pk=dose.pk).update(quantity=9)
    dose.refresh_from_db()
    assert dose.quantity == 1


@pytest.mark.parametrize(("first", "late"), [(6, False), (7, True)])
def test_art_105_10_prescription_of_an_antimicrobial(db, first, late):
    """Art. 105(10), from memory: valid five days from its issue; issued 1 June, dosed 7 June."""
    load_reference(make_stamp(at=LONG_AGO))
    at = datetime(2026, 6, first, 8, 0, tzinfo=UTC)
    course = make_course(
        medicine=make_medicine(antimicrobial=True), prescribed_on=date(2026, 6, 1), happened_at=at
    )
    make_dose(course, at=at)
    (line,) = medicine_book(asked_for(since=date(2026, 6, 1), until=date(2026, 6, 30))).lines
    assert any("after the prescription" in words for words in line.missing) is late


def test_art_107_a_dry_cow_tube_has_its_grounds(db):
    """Art. 107, from memory: no routine use, so the book asks for the reason."""
    medicine = make_medicine(36, milk="dry", dry_days=49, antimicrobial=True)
    make_dry_off(cover="tube", medicine=medicine)
    (line,) = medicine_book(asked_for(since=date(2026, 6, 1), until=date(2026, 6, 30))).lines
    assert "grounds for a dry-cow tube not written" in line.missing
