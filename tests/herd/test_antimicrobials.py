"""The use of antimicrobials by quarter, active substance and cow-year."""

import csv
import io
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from herd.antimicrobials import NO_ACTIVE, Quarter, quarters_of, usage, year_before
from herd.models import GroupStay
from herd.reference import load_reference
from herd.services import treatments
from tests.factories.herd import (
    DAY,
    LONG_AGO,
    NOON,
    make_animal,
    make_course,
    make_dose,
    make_dry_off,
    make_group,
    make_medicine,
    make_stamp,
    make_user,
    put_in_group,
)

PAGE = "/herd/antimicrobials/"
SECOND = Quarter(2026, 2)
YEAR = (date(2026, 4, 1), date(2026, 6, 30))


@pytest.fixture
def penicillin(db):
    load_reference(make_stamp(at=LONG_AGO))
    return make_medicine(
        name="Lanolactin", actives="invented penicillin", antimicrobial=True, unit="tube"
    )


def course_with(medicine, doses=1, at=NOON, **fields):
    course = make_course(medicine=medicine, happened_at=at, doses=doses, **fields)
    for number in range(doses):
        make_dose(course, at=at + number * DAY, quantity=Decimal(2))
    return course


def test_quarters_of_the_year():
    assert Quarter.of(date(2026, 3, 31)) == Quarter(2026, 1)
    assert Quarter(2026, 4).next == Quarter(2027, 1)
    assert Quarter(2026, 1).previous == Quarter(2025, 4)
    assert list(quarters_of(date(2025, 12, 31), date(2026, 4, 1))) == [
        Quarter(2025, 4),
        Quarter(2026, 1),
        Quarter(2026, 2),
    ]
    assert year_before(date(2026, 6, 2)) == date(2025, 7, 1)


def test_courses_doses_and_animals_by_active(penicillin):
    cow = make_animal()
    course_with(penicillin, 3, animal=cow)
    course_with(penicillin, 1, at=NOON + 5 * DAY, animal=cow)
    course_with(make_medicine(name="Other", actives="invented penicillin", antimicrobial=True))
    course_with(make_medicine(name="Flam", antimicrobial=False))
    use = usage(*YEAR).by_active[SECOND, "invented penicillin"]
    assert (use.courses, use.doses, len(use.animals)) == (3, 5, 2)
    assert use.medicines == {"Lanolactin", "Other"}
    assert dict(use.quantity) == {"tube": 8, "ml": 2}
    assert list(usage(*YEAR).by_active) == [(SECOND, "invented penicillin")]


def test_course_counts_in_the_quarter_of_its_first_dose(penicillin):
    first = NOON.replace(month=6, day=30)
    course_with(penicillin, 3, at=first)
    found = usage(date(2026, 4, 1), date(2026, 9, 30)).by_active
    assert [(str(key[0]), use.doses) for key, use in found.items()] == [("2026, quarter 2", 3)]


def test_struck_skipped_and_unwritten_doses_do_not_count(penicillin):
    make_course(medicine=penicillin)
    skipped = make_course(medicine=penicillin)
    make_dose(skipped, quantity=0, skipped=True, why_skipped="left")
    struck = course_with(penicillin, 2)
    treatments.strike_course(struck, by=make_user(), reason="twice")
    assert usage(*YEAR).by_active == {}


def test_active_that_is_not_written_is_said(penicillin, vet_client):
    course_with(make_medicine(actives="", antimicrobial=True))
    assert usage(*YEAR).by_active[SECOND, NO_ACTIVE].courses == 1
    page = vet_client.get(PAGE, {"since": "2026-04-01", "until": "2026-06-30"})
    assert "active substance not written: 1 courses" in page.content.decode()


def test_dry_tubes_with_their_grounds(penicillin):
    for grounds in ("cells above 200", "cells above 200", ""):
        make_dry_off(cover="tube", medicine=penicillin, grounds=grounds)
    make_dry_off(cover="seal", medicine=make_medicine(antimicrobial=False))
    use = usage(*YEAR).dried_off[SECOND, "Lanolactin"]
    assert (use.cows, use.tubes) == (3, 12)
    assert use.grounds == {"cells above 200": 2, "grounds not written": 1}


def test_cow_years_are_the_time_stood_in_groups(penicillin):
    """Two cows all quarter, one for its last 30 days, one young animal: by hand."""
    milking, young = make_group(), make_group(use="young")
    start = Quarter(2026, 2).begin
    end = Quarter(2026, 2).next.begin
    put_in_group(make_animal(), milking, LONG_AGO)
    leaver = make_animal()
    put_in_group(leaver, milking, start)
    put_in_group(leaver, None, end + 5 * DAY, leaving="sold")
    put_in_group(make_animal(), milking, end - 30 * DAY)
    put_in_group(make_animal(), young, LONG_AGO)
    found = usage(*YEAR).cow_years[SECOND]
    assert found == pytest.approx((2 * 91 + 30) / 365.25)


def test_cow_years_the_slow_way(penicillin):
    group = make_group()
    for number in range(1, 7):
        cow = make_animal()
        put_in_group(cow, group, NOON - number * 37 * DAY)
        put_in_group(cow, make_group(), NOON + number * 3 * DAY + timedelta(hours=number))
    quarters = usage(date(2025, 10, 1), date(2026, 6, 30))
    for quarter, found in quarters.cow_years.items():
        begin, end = quarter.begin, min(quarter.next.begin, quarters.until)
        slow = sum(
            max((min(stay.upper or end, end) - max(stay.lower, begin)).total_seconds(), 0)
            for stay in GroupStay.objects.standing().values_list("during", flat=True)
        )
        assert found == pytest.approx(slow / 86400 / 365.25)


def test_four_statements_however_much_is_written(penicillin):
    def statements() -> int:
        with CaptureQueriesContext(connection) as seen:
            usage(date(2025, 7, 1), date(2026, 6, 30))
        return len(seen)

    assert statements() == 4
    for _ in range(5):
        course_with(make_medicine(antimicrobial=True, actives="another"))
    assert statements() == 4


def test_page_and_files(penicillin, inspector_client):
    put_in_group(make_animal(), make_group(), LONG_AGO)
    course_with(penicillin)
    query = {"since": "2026-05-01", "until": "2026-06-30"}
    page = inspector_client.get(PAGE, query).content.decode()
    assert "1 courses and 0 drying-off treatments in 0.2 cow-years." in page
    text = inspector_client.get(PAGE, {**query, "as": "csv"}).content.decode("utf-8-sig")
    row = list(csv.reader(io.StringIO(text)))[2]
    assert row[:7] == [
        "2026, quarter 2",
        "invented penicillin",
        "Lanolactin",
        "1",
        "1",
        "1",
        "2 tube",
    ]
    assert inspector_client.get(PAGE, {**query, "as": "pdf"}).content.startswith(b"%PDF")


def test_wrong_days_are_refused(penicillin, vet_client):
    for query in (
        {"since": "2026-06-30", "until": "2026-01-01"},
        {"since": "2001-01-01"},
        {"until": "2190-01-01"},
        {"since": "June"},
    ):
        answer = vet_client.get(PAGE, query)
        assert answer.status_code == 400
        assert answer.context["form"].errors


def test_who_may_not(penicillin, client, nobody_client):
    assert client.get(PAGE).status_code == 302
    assert nobody_client.get(PAGE).status_code == 403
