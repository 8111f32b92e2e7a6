"""A new leaflet or rule changes the periods that hang on it, at once and both ways."""

from datetime import date, time
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from herd.models import MedicineVersion, PeriodRule, WithdrawalPeriod
from herd.reference import load_reference
from herd.services.groups import record_milking_time, strike_milking_time
from herd.services.medicines import record_rule, record_version, strike_rule, strike_version
from herd.withdrawal import COLOSTRUM_MILKINGS
from herd.withheld import answer_for
from tests.factories.herd import (
    HOUR,
    NOON,
    make_animal,
    make_calving,
    make_course,
    make_dose,
    make_medicine,
    make_stamp,
    make_version,
    put_in_group,
)
from tests.herd.arithmetic import at


def new_version(medicine, **fields) -> MedicineVersion:
    """A version through the service: 132 h from 1 June."""
    fields.setdefault("milk_hours", Decimal(132))
    fields.setdefault("valid_from", date(2026, 6, 1))
    fields.setdefault("meat_days", 10)
    fields.setdefault("source", "leaflet, invented")
    return record_version(stamp=make_stamp(), medicine=medicine, **fields)


def test_new_leaflet_lengthens_what_it_covers(cow, tube):
    # T9: dosed 31 May 17:00 and 2 June 17:00; 132 h from 1 June on.
    course = make_course(cow, medicine=tube, doses=2, happened_at=at("2026-05-31 17:00"))
    make_dose(course)
    make_dose(course, at("2026-06-02 17:00"))
    new_version(tube)
    answer = answer_for(cow, NOON + 24 * HOUR)
    assert (answer.until, answer.back) == (at("2026-06-08 05:00"), at("2026-06-08 16:30"))


def test_course_that_ended_before_keeps_its_leaflet(cow, tube):
    make_dose(make_course(cow, medicine=tube, happened_at=at("2026-05-30 17:00")))
    new_version(tube)
    assert WithdrawalPeriod.objects.get().during.upper == at("2026-06-03 05:00")


def test_first_leaflet_ends_the_not_knowing(cow):
    medicine = make_medicine(valid_from=None)
    make_dose(make_course(cow, medicine=medicine))
    assert answer_for(cow, NOON).until is None
    version = new_version(medicine)
    assert answer_for(cow, NOON).until == NOON + 132 * HOUR
    strike_version(version, by=version.by, reason="product")
    assert answer_for(cow, NOON).until is None


def test_zero_is_written_and_blank_is_not_known(cow):
    none, zero = make_medicine(None), make_medicine(0)
    other = make_animal()
    put_in_group(other, cow.stays.get().group)
    make_dose(make_course(cow, medicine=none))
    make_dose(make_course(other, medicine=zero))
    assert answer_for(cow, NOON).until is None
    assert not answer_for(other, NOON).withheld
    assert "0 h" in WithdrawalPeriod.objects.get(animal=other).why


def test_two_leaflets_of_one_day_are_refused(tube):
    with pytest.raises(ValidationError, match="version from that day already"):
        new_version(tube, valid_from=date(2020, 1, 1))


def test_negative_hours_are_refused(tube):
    with pytest.raises(ValidationError, match="Expected at least 0"):
        new_version(tube, milk_hours=Decimal(-1))


def test_dry_cow_leaflet_needs_its_days(tube):
    with pytest.raises(ValidationError, match="needs dry days and hours"):
        new_version(tube, milk="dry", dry_days=None)


def test_new_rule_for_colostrum_reaches_cows_that_calved(cow, vet):
    make_calving(cow, happened_at=at("2026-06-01 02:00"))
    assert answer_for(cow, NOON).back == at("2026-06-05 04:30")
    rule = record_rule(
        stamp=make_stamp(by=vet),
        name=COLOSTRUM_MILKINGS,
        value=Decimal(10),
        unit="milkings",
        scheme="estate",
        valid_from=date(2026, 1, 1),
        source="the vet",
    )
    assert answer_for(cow, NOON).back == at("2026-06-06 04:30")
    strike_rule(rule, by=vet, reason="quantity")
    assert answer_for(cow, NOON).back == at("2026-06-05 04:30")


def test_rule_nobody_computes_with_is_refused(db):
    with pytest.raises(ValidationError, match="no rule that is computed with") as error:
        record_rule(
            stamp=make_stamp(),
            name="moon phase",
            value=Decimal(1),
            unit="times",
            valid_from=date(2026, 1, 1),
            source="nobody",
        )
    assert list(error.value.message_dict) == ["name"]


def test_other_milking_times_move_what_counts_milkings(cow, group_5, vet):
    make_calving(cow, happened_at=at("2026-06-01 02:00"))
    later = record_milking_time(
        stamp=make_stamp(by=vet),
        group=group_5,
        session="M",
        starts=time(5, 0),
        valid_from=date(2026, 6, 5),
        line="B",
    )
    assert answer_for(cow, NOON).back == at("2026-06-05 05:00")
    strike_milking_time(later, by=vet, reason="time")
    assert answer_for(cow, NOON).back == at("2026-06-05 04:30")


def test_reference_is_loaded_once(db):
    first = load_reference(make_stamp())
    assert len(first) == PeriodRule.objects.count()
    assert all(rule.source for rule in first)
    assert load_reference(make_stamp()) == []


def test_animal_without_rules_gets_hers_with_the_reference(group_5):
    cow = make_animal()
    put_in_group(cow, group_5)
    make_calving(cow, happened_at=at("2026-06-01 02:00"))
    assert answer_for(cow, NOON).until is None
    load_reference(make_stamp())
    assert answer_for(cow, NOON).back == at("2026-06-05 04:30")


def test_version_of_another_medicine_changes_nothing(cow, tube):
    make_dose(make_course(cow, medicine=tube))
    make_version(make_medicine(), milk_hours=500, valid_from=date(2026, 1, 1))
    assert answer_for(cow, NOON).until == NOON + 84 * HOUR


@pytest.mark.django_db
def test_the_reach_of_the_trace_is_a_dated_rule_too() -> None:
    rule = record_rule(
        stamp=make_stamp(),
        name="feed traced before a milking",
        value=Decimal(72),
        unit="hours",
        scheme="estate",
        valid_from=NOON.date(),
        source="the estate's own",
    )
    assert rule.value == 72
