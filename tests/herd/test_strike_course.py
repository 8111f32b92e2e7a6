"""A course struck or written again: everything is as if it had been so from the start."""

from dataclasses import replace
from datetime import time, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError

from config.errors import Conflict
from config.offline_clock import Sent, sending
from herd.models import Course, Dose, WithdrawalPeriod
from herd.services.treatments import correct_course, strike_course
from herd.services.withdrawals import FLAG_TASK
from herd.withheld import answer_for, is_withheld
from tests.factories.herd import (
    HOUR,
    NOON,
    make_animal,
    make_course,
    make_dose,
    make_group,
    make_medicine,
    make_milking_time,
    make_stamp,
    put_in_group,
)
from tests.herd.arithmetic import at


def fields_of(course: Course, **changed):
    """A course's fields as its form sends them, some changed."""
    names = (
        "animal",
        "medicine",
        "diagnosis",
        "route",
        "dose",
        "doses",
        "interval_hours",
        "off_leaflet",
        "own_milk_hours",
        "own_meat_days",
        "prescriber",
        "supplier",
        "proof",
    )
    return {**{name: getattr(course, name) for name in names}, **changed}


def test_struck_course_takes_its_doses_with_it(cow, tube, vet):
    course = make_course(cow, medicine=tube, doses=2)
    make_dose(course)
    make_dose(course, NOON + 12 * HOUR)
    strike_course(course, by=vet, reason="animal", words="it was another cow")
    assert not Dose.objects.standing().exists()
    assert {dose.struck_words for dose in Dose.objects.all()} == {"it was another cow"}
    assert not WithdrawalPeriod.objects.exists()
    assert not is_withheld(cow, NOON)


def test_a_strike_from_a_phone_leaves_a_dose_that_arrived_since_it_was_written(cow, tube, vet):
    # T27: struck on a phone at noon, sent hours later; meanwhile somebody gave a dose.
    course = make_course(cow, medicine=tube, doses=2)
    known, since = make_dose(course), make_dose(course, NOON + 12 * HOUR)
    written = known.received_at + HOUR
    assert since.received_at > written
    sent = Sent(
        number=uuid4(), user=vet.pk, device="phone 1", written_at=written,
        shift=timedelta(), sure=True, texts=None,
    )  # fmt: skip
    token = sending.set(sent)
    try:
        strike_course(course, by=vet, reason="animal")
    finally:
        sending.reset(token)
    assert list(Dose.objects.standing()) == [since]
    assert is_withheld(cow, NOON + 300 * HOUR)


def test_striking_one_of_two_courses_gives_back_the_other(cow, tube, vet):
    # T5.
    first = make_course(cow, medicine=tube, happened_at=at("2026-06-03 17:00"))
    make_dose(first)
    other = make_medicine(120, name="Injection B")
    second = make_course(cow, medicine=other, happened_at=at("2026-06-03 09:00"))
    make_dose(second)
    moment = at("2026-06-04 12:00")
    assert answer_for(cow, moment).back == at("2026-06-08 16:30")
    strike_course(second, by=vet, reason="animal")
    assert answer_for(cow, moment).back == at("2026-06-07 16:30")
    assert Course.objects.get(pk=second.pk).is_struck


def test_course_is_struck_once(cow, tube, vet):
    course = make_course(cow, medicine=tube)
    strike_course(course, by=vet, reason="animal")
    with pytest.raises(Conflict, match="struck already"):
        strike_course(course, by=vet, reason="twice")


def test_strike_needs_a_reason(cow, tube, vet):
    course = make_course(cow, medicine=tube)
    with pytest.raises(ValidationError, match="no reason"):
        strike_course(course, by=vet, reason="")
    assert is_withheld(cow, NOON)


@pytest.fixture
def other_cow(rules):
    group = make_group(7, milked=False)
    make_milking_time(group, session="M", starts=time(5, 15))
    make_milking_time(group, session="E", starts=time(17, 15))
    animal = make_animal(1024)
    put_in_group(animal, group)
    return animal


def test_course_written_for_the_wrong_cow_moves_to_the_right_one(cow, tube, other_cow, monkeypatch):
    # T24: written for 1042 on Tuesday 17:40, really 1024; found on Thursday 08:00.
    course = make_course(cow, medicine=tube, happened_at=at("2026-06-02 17:40"))
    dose = make_dose(course)
    found = at("2026-06-04 08:00")
    asked = []
    monkeypatch.setattr("config.jobs.ask", lambda *args: asked.append(args))
    stamp = replace(make_stamp(at=course.happened_at), written_at=found)
    right = correct_course(
        course, stamp=stamp, reason="animal", **fields_of(course, animal=other_cow)
    )
    assert not is_withheld(cow, found)
    answer = answer_for(other_cow, found)
    assert (answer.until, answer.back) == (at("2026-06-06 05:40"), at("2026-06-06 17:15"))
    assert asked == [(FLAG_TASK, sorted([cow.pk, other_cow.pk]))]
    assert (right.pk, right.uuid) == (course.pk, course.uuid)
    assert list(right.given.all()) == [dose]
    assert (right.replaces.animal, right.replaces.struck_reason) == (cow, "animal")


def test_corrected_product_changes_the_period(cow, tube):
    course = make_course(cow, medicine=tube)
    make_dose(course)
    longer = make_medicine(120)
    stamp = make_stamp(at=course.happened_at)
    correct_course(course, stamp=stamp, reason="product", **fields_of(course, medicine=longer))
    assert answer_for(cow, NOON).until == NOON + 120 * HOUR
    assert WithdrawalPeriod.objects.count() == 1


def test_correction_is_held_to_the_same_rules(cow, tube):
    course = make_course(cow, medicine=tube)
    stamp = make_stamp(at=course.happened_at)
    with pytest.raises(ValidationError, match="floor"):
        correct_course(
            course,
            stamp=stamp,
            reason="quantity",
            **fields_of(course, off_leaflet=True, own_milk_hours=Decimal(96)),
        )
    assert Course.objects.count() == 1


def test_correction_may_not_leave_a_dose_before_the_course(cow, tube):
    course = make_course(cow, medicine=tube)
    make_dose(course)
    stamp = make_stamp(at=NOON + 48 * HOUR)
    with pytest.raises(ValidationError, match="its course starts"):
        correct_course(course, stamp=stamp, reason="time", **fields_of(course))


def test_struck_course_is_not_corrected(cow, tube, vet):
    course = make_course(cow, medicine=tube)
    strike_course(course, by=vet, reason="animal")
    with pytest.raises(Conflict):
        correct_course(course, stamp=make_stamp(), reason="time", **fields_of(course))
