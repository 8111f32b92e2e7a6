"""A cow in group 5 of the estate, the rules in force, and a tube with 84 h on its leaflet."""

from datetime import date, time

import pytest

from herd import reference
from herd.models import Animal, Group, Medicine, PeriodRule
from tests.factories.herd import (
    DAY,
    LONG_AGO,
    NOON,
    make_animal,
    make_course,
    make_dose,
    make_group,
    make_holding,
    make_medicine,
    make_milking_time,
    make_stamp,
    make_user,
    put_in_group,
    receive,
)


@pytest.fixture
def rules(db):
    """The period rules every estate starts with, in one statement."""
    stamp = make_stamp()
    rows = [PeriodRule(**{**stamp.columns(), **rule}) for rule in reference.rules()]
    return PeriodRule.objects.bulk_create(rows)


@pytest.fixture
def group_3(db) -> Group:
    group = make_group(3, milked=False)
    make_milking_time(group, session="M", starts=time(4, 10), line="A")
    make_milking_time(group, session="E", starts=time(16, 10), line="A")
    return group


@pytest.fixture
def group_5(db) -> Group:
    return make_group(5)


@pytest.fixture
def dry_group(db) -> Group:
    return make_group(13, milked=False, use=Group.Use.DRY)


@pytest.fixture
def cow(rules, group_5) -> Animal:
    """Cow 1042 of group 5, milked 04:30 and 16:30."""
    animal = make_animal(1042)
    put_in_group(animal, group_5)
    return animal


@pytest.fixture
def tube(db) -> Medicine:
    return make_medicine(84, name="Tube A", leaflet_doses=3, leaflet_interval=12)


@pytest.fixture
def book_rules(db):
    """Every dated rule of the reference, entered as an estate enters them."""
    reference.load_reference(make_stamp(at=LONG_AGO))


@pytest.fixture
def supplier(db):
    """Who sells the estate its medicines."""
    return make_holding(name="Saltbeck medicines", address="Salt Lane 3, Saltbeck")


@pytest.fixture
def whole(book_rules, supplier):
    """Cow 1042 in group 5: three doses in three days, everything about them written."""
    medicine = make_medicine(84, name="Lanolactin", actives="an invented penicillin", unit="tube")
    receive(medicine, supplier=supplier)
    cow = make_animal(1042)
    put_in_group(cow, make_group(5))
    course = make_course(
        cow,
        medicine=medicine,
        doses=3,
        interval_hours=24,
        prescriber="Dr Ada Vetter, 0999 123",
        prescribed_on=date(2026, 6, 2),
    )
    for number in range(3):
        make_dose(course, at=NOON + number * DAY, batch="B-1", by=make_user("stockman"))
    return course


@pytest.fixture
def dry_tube(db) -> Medicine:
    return make_medicine(36, name="Dry tube D", milk="dry", dry_days=49)
