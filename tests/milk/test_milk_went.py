"""Where withheld milk went stands in the medicine book: by the milkings, and as it was written."""

from datetime import date
from decimal import Decimal

import pytest

from config import entries
from config.entries import Stamp
from herd.book_entries import Asked
from herd.book_paper import book_paper
from herd.medicine_book import INTO_TANK, medicine_book
from herd.models import Animal, Course
from milk.models import CowMilking, WithheldMilk
from milk.services.cow_rows import CowRow
from milk.services.withheld import record_withheld
from tests.factories.herd import (
    make_animal,
    make_course,
    make_dose,
    make_group,
    make_medicine,
    put_in_group,
)
from tests.factories.milk import make_milking, make_tank, stamp_at
from tests.herd.arithmetic import at

pytestmark = pytest.mark.django_db
JUNE = Asked(date(2026, 6, 1), date(2026, 6, 30))
KEPT_OUT = CowMilking.Goes.KEPT_OUT
WENT = "Where the milk went"


@pytest.fixture
def group():
    return make_group(5)


@pytest.fixture
def course(group) -> Course:
    """Cow 1042, one dose on 2 June 10:00, 84 h: free from 5 June 22:00."""
    cow = make_animal(1042)
    put_in_group(cow, group)
    course = make_course(cow, medicine=make_medicine(84), happened_at=at("2026-06-02 10:00"))
    make_dose(course)
    return course


def milked(course: Course, group, tank, *, kg=12, when="2026-06-02 16:30", goes=None):
    """Her milking at the meter, from the evening after the dose on."""
    row = CowRow(animal=course.animal, grams=int(kg * 1000), goes=goes or CowMilking.Goes.TANK)
    return make_milking(at=at(when), group=group, tank=tank, cows=[row])


def withheld(course: Course, kg=11, when="2026-06-02 17:30", **fields) -> WithheldMilk:
    fields = {"animal": course.animal, "session": "E", "reason": "treated", **fields}
    moment = at(when)
    return record_withheld(
        stamp=stamp_at(moment), day=date.fromisoformat(when[:10]), kg=Decimal(kg), **fields
    )


def line(asked=JUNE):
    (line,) = medicine_book(asked).lines
    return line


def cell(asked=JUNE) -> str:
    (part,) = book_paper(medicine_book(asked), by=make_course().by, at=asked.begin).parts
    heads = [column.head for column in part.columns]
    return next(row.cells[heads.index(WENT)] for row in part.lines if "1042" in row.cells[1])


def test_nothing_written_says_so(course):
    assert line().milk_went == ""
    assert cell() == "not written"


def test_waste_tank_by_the_meter(course, group):
    waste = make_tank(name="W", use="waste")
    milked(course, group, waste)
    milked(course, group, waste, when="2026-06-03 04:30", kg=11.5)
    # Outside: before the dose, and after the end.
    milked(course, group, make_tank(name="B"), when="2026-06-02 04:30")
    milked(course, group, make_tank(name="A"), when="2026-06-06 04:30")
    assert line().milk_went == "tank W (waste) at 2 milkings, 23.5 kg"
    assert INTO_TANK not in line().missing


def test_milk_that_went_into_a_tank_is_said_first_and_on_top(course, group):
    milked(course, group, make_tank(name="B"))
    milked(course, group, None, when="2026-06-03 04:30", goes=KEPT_OUT)
    assert line().milk_went == (
        "INTO TANK B at 1 milking, 12.0 kg; "
        "kept out, where to is not written, at 1 milking, 12.0 kg"
    )
    book = medicine_book(JUNE)
    assert INTO_TANK in line().missing
    paper = book_paper(book, by=course.by, at=JUNE.begin)
    assert any(words.startswith(INTO_TANK) for words in paper.missing)


def test_what_was_written_is_told_once_with_its_paper(course, group):
    milked(course, group, None, goes=KEPT_OUT)
    withheld(course, went="destroyed", paper="slip 7")
    assert line().milk_went == "destroyed, with a paper (slip 7) at 1 milking, 11.0 kg"


def test_without_meters_she_was_in_the_tank_unless_hers_was_written(course, group):
    tank = make_tank(name="B")
    make_milking(at=at("2026-06-02 16:30"), group=group, tank=tank)
    assert line().milk_went == "INTO TANK B at 1 milking"
    withheld(course)
    assert line().milk_went == "waste or slurry at 1 milking, 11.0 kg"
    make_milking(at=at("2026-06-03 04:30"), group=group, tank=None)
    assert "INTO A TANK that is not written at 1 milking" in line().milk_went


def test_milk_of_her_group_is_told_without_a_share(course, group):
    withheld(course, animal=None, group=group, cows=5, kg=60)
    assert line().milk_went == "with others of her group: waste or slurry at 1 milking"


def test_struck_row_tells_nothing(course):
    row = withheld(course)
    entries.strike(row, by=row.by, reason="quantity")
    assert line().milk_went == ""


def test_book_as_known_then_tells_what_was_written_by_then(course, group):
    milked(course, group, make_tank(name="B"))
    stamp: Stamp = stamp_at(at("2026-06-03 08:00"))
    then = Asked(JUNE.first, JUNE.last, known_at=stamp.written_at)
    assert line(then).milk_went == ""


def test_zero_period_withholds_nothing(group):
    cow: Animal = make_animal(1042)
    put_in_group(cow, group)
    make_dose(make_course(cow, medicine=make_medicine(0), happened_at=at("2026-06-02 10:00")))
    make_milking(at=at("2026-06-02 16:30"), group=group, tank=make_tank(name="B"))
    assert (line().milk_went, cell()) == ("", "")


def test_api_and_table_file_tell_it(course, group, vet_api, vet_client):
    milked(course, group, make_tank(name="W", use="waste"))
    query = {"since": "2026-06-01", "until": "2026-06-30"}
    told = vet_api.get("/api/medicine-book/", **query).json()["lines"][0]
    assert told["milk_went"] == "tank W (waste) at 1 milking, 12.0 kg"
    file = vet_client.get("/herd/medicine-book/", {**query, "as": "csv"}).content.decode()
    assert "tank W (waste) at 1 milking, 12.0 kg" in file
