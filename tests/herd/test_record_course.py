"""The vet orders a course: her milk is withheld, and what the leaflet rules out is refused."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from herd.models import Course, Group, WithdrawalPeriod
from herd.services.treatments import record_course, record_treatment
from herd.withheld import answer_for, is_withheld
from tests.factories.herd import (
    HOUR,
    NOON,
    make_animal,
    make_group,
    make_medicine,
    make_stamp,
    put_in_group,
)
from tests.herd.arithmetic import at, shown


def order(cow, medicine, **fields):
    """A course of one tube at NOON, ordered through the service."""
    fields.setdefault("diagnosis", "mastitis LF")
    fields.setdefault("dose", Decimal(1))
    fields.setdefault("doses", 1)
    fields.setdefault("interval_hours", 12)
    stamp = fields.pop("stamp", None) or make_stamp()
    return record_course(stamp=stamp, animal=cow, medicine=medicine, **fields)


def refused(cow, medicine, **fields) -> dict[str, list[str]]:
    """The messages an order is refused with; nothing may be written."""
    with pytest.raises(ValidationError) as error:
        order(cow, medicine, **fields)
    assert not Course.objects.exists()
    assert not WithdrawalPeriod.objects.exists()
    return error.value.message_dict


def test_vet_orders_a_course(cow, tube):
    course = order(cow, tube, doses=3)
    period = WithdrawalPeriod.objects.get()
    assert (period.animal, period.course, period.source) == (cow, course, course.uuid)
    # Three doses at 12 h from 12:00: the last at 12:00 a day later, 84 h after that.
    assert shown(period.during.upper) == "2026-06-07 00:00"
    assert shown(period.meat_until) == "2026-06-13 12:00"
    assert is_withheld(cow, NOON)


def test_first_dose_on_the_same_page_is_one_act(cow, tube):
    course = record_treatment(
        stamp=make_stamp(),
        first_dose={"quarter": "lf", "batch": "B1"},
        animal=cow,
        medicine=tube,
        diagnosis="mastitis LF",
        dose=Decimal(1),
        doses=1,
    )
    dose = course.given.get()
    assert (dose.quantity, dose.quarter, dose.happened_at) == (1, "LF", NOON)
    assert answer_for(cow, NOON).back == at("2026-06-06 04:30")


def test_refused_first_dose_leaves_no_course(cow, tube):
    with pytest.raises(ValidationError, match="no quarter"):
        record_treatment(
            stamp=make_stamp(),
            first_dose={"quarter": "the left one"},
            animal=cow,
            medicine=tube,
            diagnosis="mastitis LF",
            dose=Decimal(1),
            doses=1,
        )
    assert not Course.objects.exists()


def test_course_may_start_this_evening(cow, tube):
    evening = timezone.now() + 8 * HOUR
    course = order(cow, tube, stamp=make_stamp(at=evening, written_at=timezone.now()))
    assert not is_withheld(cow, evening - HOUR)
    assert is_withheld(cow, evening)
    assert course.happened_at == evening


def test_course_in_a_month_is_a_mistake(cow, tube):
    month = make_stamp(at=timezone.now() + timedelta(days=30))
    assert "more than 14 days ahead" in refused(cow, tube, stamp=month)["happened_at"][0]


def test_medicine_never_for_cows_in_milk_is_refused(cow):
    never = make_medicine(None, milk="never", name="Powder N")
    words = refused(cow, never)["medicine"][0]
    assert "Powder N is not for animals that give milk" in words
    assert "group 5" in words


def test_dry_cow_product_is_for_dry_cows_unless_the_vet_sets_a_period(cow, dry_tube, dry_group):
    words = refused(cow, dry_tube)["medicine"][0]
    assert "is for cows that are dried off, and 1042 stands in group 5" in words
    # (49 days and 36 h) x 1.5, rounded up to days (Regulation (EU) 2019/6 Art. 115(1)(b)).
    own = {"off_leaflet": True, "own_milk_hours": Decimal(76 * 24), "grounds": "nothing helps"}
    assert order(cow, dry_tube, **own).off_leaflet
    dry = make_animal(77)
    put_in_group(dry, dry_group)
    assert order(dry, dry_tube).animal == dry


def test_medicine_never_for_cows_in_milk_may_go_to_young_stock(rules):
    heifer = make_animal()
    put_in_group(heifer, make_group(use=Group.Use.YOUNG, milked=False))
    order(heifer, make_medicine(None, milk="never"))
    assert answer_for(heifer, NOON + timedelta(days=900)).until is None


@pytest.mark.parametrize(
    ("fields", "where", "words"),
    [
        pytest.param({"doses": 5}, "doses", "at most 3 doses on its leaflet, not 5", id="more"),
        pytest.param(
            {"doses": 2, "interval_hours": 8}, "interval_hours", "12 h between doses", id="closer"
        ),
        pytest.param({"off_leaflet": True}, "own_milk_hours", "the least is 144 h", id="no period"),
        pytest.param(
            {"off_leaflet": True, "doses": 5, "own_milk_hours": Decimal(96)},
            "own_milk_hours",
            "The least for Tube A off leaflet is 144 h",
            id="T4: 96 h where the floor is 144 h",
        ),
        pytest.param(
            {"own_milk_hours": Decimal(60)},
            "own_milk_hours",
            "The least for Tube A on its leaflet is 84 h",
            id="below the leaflet",
        ),
        pytest.param(
            {"off_leaflet": True, "own_milk_hours": Decimal(144), "own_meat_days": 12},
            "own_meat_days",
            "is 15 days",
            id="meat below the floor",
        ),
        pytest.param({"dose": Decimal(0)}, "dose", "0.01", id="no amount"),
        pytest.param({"doses": 0}, "doses", "1", id="no doses"),
        pytest.param({"route": "by ear"}, "route", "not a valid choice", id="no route"),
        pytest.param({"diagnosis": ""}, "diagnosis", "blank", id="no diagnosis"),
    ],
)
def test_wrong_orders_are_refused(cow, tube, fields, where, words):
    assert words in refused(cow, tube, **fields)[where][0]


def test_floor_is_accepted_to_the_hour(cow, tube):
    # T4: the last tube on Thursday 4 June 17:00; 144 h are accepted.
    order(
        cow,
        tube,
        stamp=make_stamp(at=at("2026-06-02 17:00")),
        doses=5,
        off_leaflet=True,
        own_milk_hours=Decimal(144),
    )
    assert answer_for(cow, NOON + 12 * HOUR).back == at("2026-06-11 04:30")


def test_off_leaflet_without_rules_is_refused(tube, group_5):
    cow = make_animal()
    put_in_group(cow, group_5)
    words = refused(cow, tube, off_leaflet=True, own_milk_hours=Decimal(500))
    assert "Enter the period rules first" in words["own_milk_hours"][0]


def test_medicine_without_a_leaflet_withholds_until_the_vet_says(cow):
    order(cow, make_medicine(valid_from=None))
    answer = answer_for(cow, NOON)
    assert (answer.withheld, answer.until) == (True, None)
    assert "no leaflet is known" in answer.why[0]
