"""The medicine book: what is in it, what was struck of it, what was known when, and for whom."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from config.days import local
from herd.book_entries import Asked
from herd.book_paper import book_paper
from herd.medicine_book import NO_DOSE, WITHOUT_PLAN, medicine_book
from herd.medicine_rules import years_after
from herd.models import Dose, DryOff
from herd.services import treatments
from tests.factories.herd import (
    DAY,
    NOON,
    make_animal,
    make_calving,
    make_course,
    make_dose,
    make_dry_off,
    make_group,
    make_holding,
    make_medicine,
    make_stamp,
    make_user,
    make_version,
    put_in_group,
    receive,
)

TODAY = date(2026, 6, 2)
JUNE = Asked(date(2026, 6, 1), date(2026, 6, 30))
PAGE, API = "/herd/medicine-book/", "/api/medicine-book/"
RANGE = {"since": "2026-06-01", "until": "2026-06-30"}


def lines(asked=JUNE):
    return medicine_book(asked).lines


def only(asked=JUNE):
    (line,) = lines(asked)
    return line


def test_a_course_is_one_line_with_everything(whole):
    line = only()
    assert (str(line.animal), line.group, line.tag) == ("1042", 5, whole.animal.ear_tag)
    assert (local(line.first), line.days) == ("2026-06-02 12:00", 3)
    assert (line.quantity, line.unit, line.given) == (3, "tube", 3)
    assert line.batches == (("B-1", date(2027, 5, 31)),)
    assert (line.supplier, line.supplier_address) == ("Saltbeck medicines", "Salt Lane 3, Saltbeck")
    assert (line.proof, line.prescriber) == ("delivery note 1207", "Dr Ada Vetter, 0999 123")
    assert line.given_by == ("stockman",)
    assert (line.milk_set, local(line.milk_free)) == ("84 h", "2026-06-08 00:00")
    assert line.meat_set == "10 days"
    assert line.missing == ()


def test_what_the_course_says_of_supplier_and_proof_comes_before_the_receipt(whole):
    other = make_holding(name="Thornvale vets", address="Thorn 1")
    course = make_course(medicine=whole.medicine, supplier=other, proof="bill 7", prescriber="V, 1")
    make_dose(course, batch="B-1")
    line = next(line for line in lines() if line.uuid == course.uuid)
    assert (line.supplier, line.proof) == ("Thornvale vets", "bill 7")


def test_batches_find_their_receipt_without_spaces_and_capitals(whole):
    course = make_course(medicine=whole.medicine)
    make_dose(course, batch="b -1")
    line = next(line for line in lines() if line.uuid == course.uuid)
    assert line.supplier == "Saltbeck medicines"


def test_zero_is_written_as_zero(book_rules):
    course = make_course(medicine=make_medicine(0, meat_days=0))
    make_dose(course)
    line = only()
    assert (line.milk_set, line.meat_set) == ("0 h", "0 days")
    assert line.milk_known
    assert not any("withdrawal" in words for words in line.missing)


def test_a_period_nobody_knows_is_missing_and_not_zero(book_rules):
    make_dose(make_course(medicine=make_medicine(None, meat_days=None)))
    line = only()
    assert (line.milk_set, line.meat_set) == ("not known", "not known")
    assert (line.milk_free, line.milk_known) == (None, False)
    assert "milk withdrawal period not written" in line.missing
    assert "meat withdrawal period not written" in line.missing


def test_everything_that_is_not_written_is_said(book_rules):
    make_dose(make_course(), batch="")
    assert set(only().missing) == {
        "prescribing vet's contact not written",
        "batch not written",
        "supplier not written",
        "proof of purchase not written",
    }
    paper = book_paper(medicine_book(JUNE), by=make_user(), at=NOON)
    assert any(words.startswith("supplier not written: 1 line (") for words in paper.missing)


def test_supplier_without_an_address_is_said(whole):
    course = make_course(medicine=whole.medicine, supplier=make_holding(name="No address"))
    make_dose(course, batch="B-1")
    line = next(line for line in lines() if line.uuid == course.uuid)
    assert "supplier's address not written" in line.missing


def test_off_leaflet_with_the_vets_own_period_and_grounds(book_rules):
    course = make_course(
        off_leaflet=True, own_milk_hours=Decimal("144.0"), own_meat_days=15, grounds="no answer"
    )
    make_dose(course)
    line = only()
    assert line.leaflet == "off the leaflet: no answer"
    assert (line.milk_set, line.meat_set) == ("144 h, set by the vet", "15 days, set by the vet")
    bare = make_course(off_leaflet=True, own_milk_hours=144)
    make_dose(bare)
    line = next(line for line in lines() if line.uuid == bare.uuid)
    assert "grounds for off-leaflet use not written" in line.missing
    assert "step of the cascade not written" in line.missing
    assert line.meat_set == "the least by Art. 115"


def test_prescription_older_than_the_rule_is_said(book_rules):
    """issued 1 June, first dose 7 June; from memory, Art. 105(10): five days."""
    medicine = make_medicine(antimicrobial=True)
    for issued, late in ((date(2026, 5, 28), False), (date(2026, 5, 27), True)):
        course = make_course(medicine=medicine, prescribed_on=issued)
        make_dose(course)
        line = next(line for line in lines() if line.uuid == course.uuid)
        said = "first dose more than 5 days after the prescription" in line.missing
        assert said is late


def test_dry_off_tube_is_in_the_book(book_rules, supplier):
    medicine = make_medicine(36, milk="dry", dry_days=49, meat_days=28, unit="tube", name="Drylan")
    receive(medicine, "D-1", supplier=supplier)
    cow = make_animal()
    make_dry_off(cow, cover="tube", medicine=medicine, batch="D-1", grounds="cells above 200")
    line = only()
    assert (line.kind, line.quantity, line.unit) == ("dry-off", 4, "tube")
    assert line.milk_set == "36 h after calving, at least 49 days dry"
    assert "cells above 200" in line.what_for
    assert line.supplier == "Saltbeck medicines"
    assert (line.milk_free, line.milk_known) == (None, False)
    make_calving(cow, happened_at=NOON + 60 * DAY)
    assert local(only().milk_free) == "2026-08-03 00:00"


def test_dry_off_with_nothing_is_not_and_unknown_is(book_rules):
    make_dry_off(cover="none")
    assert lines() == ()
    make_dry_off(cover="unknown")
    assert "nobody knows what was put in at drying off" in only().missing


def test_course_without_a_dose_says_so(book_rules):
    make_course()
    line = only()
    assert NO_DOSE in line.missing
    assert line.quantity == 0


def test_skipped_dose_was_not_given(whole):
    make_dose(whole, at=NOON + 3 * DAY, quantity=0, skipped=True, why_skipped="she left")
    line = only()
    assert (line.given, line.quantity, line.days) == (3, 3, 3)


def test_struck_dose_stays_as_a_struck_line(whole):
    dose = Dose.objects.order_by("happened_at").last()
    treatments.strike_dose(dose, by=make_user(), reason="animal", words="it was 1024")
    course, struck = sorted(lines(), key=lambda line: bool(line.struck))
    assert (course.given, struck.kind, struck.quantity) == (2, "dose", 1)
    assert "by vet, wrong animal: it was 1024" in struck.struck
    assert struck.uuid == dose.uuid
    # Three were ordered: nobody knows that the third was not given, and the plan counts.
    assert course.milk_free == struck.last + timedelta(hours=84)


def test_struck_course_is_one_struck_line_with_its_doses(whole):
    treatments.strike_course(whole, by=make_user(), reason="twice")
    line = only()
    assert (line.given, bool(line.struck), line.kind) == (3, True, "course")


def test_dose_that_came_after_its_course_was_struck_stands_alone(whole):
    treatments.strike_course(whole, by=make_user(), reason="twice")
    dose = make_dose(whole, at=NOON + 4 * DAY, batch="B-1")
    standing = medicine_book(JUNE).standing
    assert [line.uuid for line in standing] == [dose.uuid]
    assert WITHOUT_PLAN in standing[0].missing
    assert not standing[0].milk_known


def test_corrected_course_shows_its_old_wording_struck(whole):
    fields = {
        name: getattr(whole, name)
        for name in ("medicine", "doses", "interval_hours", "dose", "prescriber")
    }
    wrong, right = whole.animal, make_animal(1024)
    treatments.correct_course(
        whole,
        stamp=make_stamp(at=whole.happened_at),
        reason="animal",
        animal=right,
        diagnosis="mastitis LF",
        route="udder",
        **fields,
    )
    standing, struck = sorted(lines(), key=lambda line: bool(line.struck))
    assert (str(standing.animal), str(struck.animal)) == ("1024", "1042")
    assert "wrong animal" in struck.struck
    assert struck.milk_free is None
    # In the book of either animal her own line is there.
    assert [bool(line.struck) for line in lines(Asked(JUNE.first, JUNE.last, animal=wrong))] == [
        True
    ]
    assert [bool(line.struck) for line in lines(Asked(JUNE.first, JUNE.last, animal=right))] == [
        False
    ]


def test_book_as_known_before_a_correction_and_before_a_late_dose(whole):
    """Known at the moment of the strike: what had arrived by then, with the ends of then."""
    before = timezone.now()
    dose = Dose.objects.order_by("happened_at").last()
    treatments.strike_dose(dose, by=make_user(), reason="animal")
    after = timezone.now()
    then = only(Asked(JUNE.first, JUNE.last, known_at=before))
    assert (then.given, then.struck, local(then.milk_free)) == (3, "", "2026-06-08 00:00")
    now = lines(Asked(JUNE.first, JUNE.last, known_at=after))
    assert [line.given for line in now] == [line.given for line in lines()]
    first = only(Asked(JUNE.first, JUNE.last, known_at=NOON + timedelta(hours=2)))
    assert (first.given, local(first.first)) == (1, "2026-06-02 12:00")


def test_book_as_known_before_a_course_was_corrected(whole):
    before = timezone.now()
    fields = {
        name: getattr(whole, name)
        for name in ("animal", "medicine", "doses", "interval_hours", "dose")
    }
    treatments.correct_course(
        whole,
        stamp=make_stamp(at=whole.happened_at),
        reason="product",
        diagnosis="lame",
        route="muscle",
        **fields,
    )
    assert only(Asked(JUNE.first, JUNE.last, known_at=before)).what_for.startswith("mastitis LF")
    assert only(Asked(JUNE.first, JUNE.last, known_at=before)).milk_free
    assert medicine_book(JUNE).standing[0].what_for.startswith("lame")


@pytest.mark.parametrize("change", ["none", "strike dose", "strike course", "dry off"])
def test_as_known_now_is_the_same_as_what_is_known(whole, change):
    """The periods computed again from the entries are those that stand in the table."""
    if change == "strike dose":
        dose = Dose.objects.order_by("happened_at").first()
        treatments.strike_dose(dose, by=make_user(), reason="time")
    if change == "strike course":
        treatments.strike_course(whole, by=make_user(), reason="twice")
        make_dose(whole, at=NOON + 4 * DAY)
    if change == "dry off":
        medicine = make_medicine(36, milk="dry", dry_days=49, unit="tube")
        make_dry_off(whole.animal, at=NOON + 5 * DAY, cover="tube", medicine=medicine)
        make_calving(whole.animal, happened_at=NOON + 20 * DAY)
    assert lines(Asked(JUNE.first, JUNE.last, known_at=timezone.now())) == lines()


def test_leaflet_of_the_last_dose_counts(whole):
    make_version(whole.medicine, milk_hours=132, valid_from=date(2026, 6, 4))
    assert only().milk_set == "132 h"


def test_book_of_a_group_has_who_stood_in_it_then(whole):
    group_5 = whole.animal.stays.get().group
    other = make_group(6)
    put_in_group(whole.animal, other, NOON + 10 * DAY)
    make_dose(make_course(whole.animal, at=NOON + 12 * DAY))
    make_dose(make_course(make_animal()))
    in_5 = lines(Asked(JUNE.first, JUNE.last, group=group_5))
    assert [line.uuid for line in in_5] == [whole.uuid]
    in_6 = lines(Asked(JUNE.first, JUNE.last, group=other))
    assert [line.group for line in in_6] == [6]


def test_course_that_began_before_the_days_asked_for_is_in_when_a_dose_falls_in_them(whole):
    assert only(Asked(date(2026, 6, 4), date(2026, 6, 30))).given == 3
    assert lines(Asked(date(2026, 6, 5), date(2026, 6, 30))) == ()
    assert lines(Asked(date(2026, 5, 1), date(2026, 6, 1))) == ()


def test_statements_do_not_grow_with_the_lines(whole):
    def statements() -> int:
        with CaptureQueriesContext(connection) as seen:
            paper = book_paper(medicine_book(JUNE), by=make_user(), at=NOON)
            assert paper.edition
        return len(seen)

    make_dry_off(cover="tube", medicine=make_medicine(36, milk="dry", dry_days=49))
    few = statements()
    for _ in range(12):
        make_dose(make_course(medicine=whole.medicine), batch="B-1", by=make_user("milker"))
        make_dry_off(cover="tube", medicine=make_medicine(36, milk="dry", dry_days=49))
    assert len(lines()) == 26
    assert statements() == few
    assert few <= 18


def test_every_line_says_until_when_it_must_be_kept(whole):
    """5 years by law; the estate keeps 9, the life of a wheel and five years more."""
    assert only().keep_until == date(2035, 6, 4)
    assert years_after(date(2024, 2, 29), 5) == date(2029, 3, 1)


@pytest.mark.parametrize("table", ["herd_course", "herd_dose", "herd_dryoff", "herd_medicinemove"])
def test_nothing_in_the_book_can_be_deleted(whole, table):
    """Not within its term and not after it: the database refuses."""
    make_dry_off(cover="tube", medicine=whole.medicine)
    for statement in (f"DELETE FROM {table}", f"TRUNCATE {table} CASCADE"):
        with (
            pytest.raises(DatabaseError, match="[Ss]truck|delete|DELETE|TRUNCATE"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(statement)
    assert Dose.objects.count() == 3
    assert DryOff.objects.count() == 1
