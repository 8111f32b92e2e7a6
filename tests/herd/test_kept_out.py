"""Milk kept out besides courses: colostrum by milkings and days, arrivals, unfit; prescriptions."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.models import Notice
from herd.kept_out import arrival_period, colostrum_period, unfit_period
from herd.models import WithdrawalPeriod
from herd.services.animals import correct_animal, record_animal, strike_animal
from herd.services.groups import strike_stay
from herd.services.health import record_health_event, strike_health_event
from herd.services.medicines import record_rule
from herd.services.treatments import record_course
from herd.withdrawal import (
    ARRIVAL_DAYS,
    COLOSTRUM_DAYS,
    COLOSTRUM_MILKINGS,
    MILKING_HOURS,
    Rule,
    course_period,
    latest,
    milk_floor,
)
from herd.withheld import answer_for
from tests.factories.herd import (
    NOON,
    make_holding,
    make_medicine,
    make_stamp,
    put_in_group,
)
from tests.herd.arithmetic import RULES, at, course, estate, leaflet, shown
from tests.herd.test_withdrawal_properties import moments

LONG = date(2000, 1, 1)


def rule(name: str, value: float, scheme: str = "a scheme") -> Rule:
    return Rule(name, Decimal(str(value)), LONG, scheme)


def without(*names: str) -> tuple[Rule, ...]:
    return tuple(one for one in RULES if one.name not in names)


@pytest.mark.parametrize(
    ("rules", "until"),
    [
        pytest.param(RULES, "2026-05-05 04:30", id="8 milkings: the 9th is hers"),
        pytest.param((*RULES, rule(COLOSTRUM_DAYS, 8)), "2026-05-09 00:00", id="8 days are longer"),
        pytest.param(
            (*RULES, rule(COLOSTRUM_DAYS, 3)), "2026-05-05 04:30", id="8 milkings are longer"
        ),
        pytest.param(
            (*without(COLOSTRUM_MILKINGS), rule(COLOSTRUM_DAYS, 5)),
            "2026-05-06 00:00",
            id="days alone",
        ),
        pytest.param(
            (*RULES, rule(COLOSTRUM_MILKINGS, 10)), "2026-05-06 04:30", id="the strictest scheme"
        ),
        pytest.param(without(COLOSTRUM_MILKINGS, COLOSTRUM_DAYS), None, id="no rule: nobody knows"),
        pytest.param(without(MILKING_HOURS), None, id="milkings nobody can count"),
    ],
)
def test_colostrum_by_milkings_and_days(rules, until):
    period = colostrum_period(at("2026-05-01 02:00"), estate(rules=rules))
    assert shown(period.until) == until
    assert period.known == (until is not None)


@given(moments, st.integers(0, 15), st.integers(0, 20))
def test_colostrum_is_as_long_as_the_longer_rule(calved, days, milkings):
    both = (rule(COLOSTRUM_DAYS, days), rule(COLOSTRUM_MILKINGS, milkings))
    base = without(COLOSTRUM_MILKINGS)
    whole = colostrum_period(calved, estate(rules=(*base, *both))).until
    ends = [colostrum_period(calved, estate(rules=(*base, one))).until for one in both]
    assert whole == latest(ends)
    assert whole >= calved


def test_arrival_counts_its_day_as_day_one():
    # The Swiss order on hygiene in milk production: arrives 1 May, not 1 to 10 May.
    period = arrival_period(at("2026-05-01 14:00"), estate())
    assert shown(period.until) == "2026-05-11 00:00"
    assert period.known


def test_no_rule_of_arrival_keeps_nobody_out():
    assert arrival_period(at("2026-05-01 14:00"), estate(rules=without(ARRIVAL_DAYS))) is None
    zero = (*without(ARRIVAL_DAYS), rule(ARRIVAL_DAYS, 0))
    assert arrival_period(at("2026-05-01 14:00"), estate(rules=zero)) is None


def test_unfit_is_open_until_it_is_settled():
    seen = at("2026-05-01 14:00")
    assert unfit_period(seen, None, "clots", estate()).until is None
    settled = unfit_period(seen, seen + timedelta(days=2), "clots", estate())
    assert (settled.until - seen, settled.why) == (
        timedelta(days=2),
        "clots, seen Fri 01 May 14:00",
    )


def test_two_doses_at_once_are_open_until_a_period_is_set():
    doubled = replace(course("2026-06-02 10:00", "2026-06-02 10:10"), doubled=True)
    period = course_period(doubled, estate())
    assert (period.until, period.known, period.meat.open) == (None, False, True)
    told = replace(doubled, off_leaflet=True, own_milk_hours=Decimal(144))
    assert shown(course_period(told, estate()).until) == "2026-06-08 10:10"


@pytest.mark.parametrize(
    ("sheet", "floor"),
    [
        pytest.param(leaflet(None, milk_milkings=7), 144, id="7 milkings are 84 h"),
        pytest.param(leaflet(72, milk_milkings=7), 144, id="the longer of both"),
        pytest.param(leaflet(96, milk_milkings=7), 144, id="hours are longer"),
        pytest.param(leaflet(36, milk="dry", dry_days=49), 1824, id="49 d and 36 h, 76 days"),
        pytest.param(leaflet(36, milk="dry"), 168, id="dry days not known: as not authorised"),
    ],
)
def test_floor_of_leaflets_that_do_not_speak_in_hours(sheet, floor):
    assert milk_floor(sheet, estate(), at("2026-06-02 10:00")) == floor


# Kept as rows, so that lots are held for them.


@pytest.fixture
def bought(rules, group_5):
    """A cow that came from elsewhere on 2 June at noon, and stands in group 5."""
    cow = record_animal(stamp=make_stamp(), ear_tag="999000000004711", arrived_from=make_holding())
    put_in_group(cow, group_5, NOON)
    return cow


def test_bought_cow_is_out_for_ten_days(bought):
    answer = answer_for(bought, NOON)
    assert (answer.until, answer.back) == (at("2026-06-12 00:00"), at("2026-06-12 04:30"))
    assert WithdrawalPeriod.objects.get().kind == "arrival"


def test_cow_born_here_is_not(rules, group_5):
    cow = record_animal(stamp=make_stamp(), ear_tag="999000000004712", arrived_from=None)
    put_in_group(cow, group_5, NOON)
    assert answer_for(cow, NOON).word == "TANK"


@pytest.fixture
def returned(rules, group_5, group_3):
    """A cow born here that was sold on 12 May and came back on 2 June at noon, into group 3."""
    cow = record_animal(stamp=make_stamp(), ear_tag="999000000004714", arrived_from=None)
    put_in_group(cow, group_5, at("2026-03-01 12:00"))
    put_in_group(cow, None, at("2026-05-12 12:00"), leaving="sold")
    stay = put_in_group(cow, group_3, NOON)
    return cow, stay


def test_cow_that_left_and_came_back_is_an_arrival_again(returned):
    cow, stay = returned
    period = WithdrawalPeriod.objects.get()
    assert (period.kind, period.source) == ("arrival", stay.uuid)
    assert (period.during.lower, period.during.upper) == (NOON, at("2026-06-12 00:00"))
    answer = answer_for(cow, NOON)
    assert (answer.word, answer.back) == ("NOT", at("2026-06-12 04:10"))
    assert answer.why[0].startswith("arrived")


def test_a_move_between_groups_is_no_arrival(rules, group_5, group_3):
    cow = record_animal(stamp=make_stamp(), ear_tag="999000000004715", arrived_from=None)
    put_in_group(cow, group_5, at("2026-03-01 12:00"))
    put_in_group(cow, group_3, NOON)
    assert not WithdrawalPeriod.objects.exists()


def test_a_move_after_the_return_does_not_begin_it_again(returned, group_5):
    cow, stay = returned
    put_in_group(cow, group_5, at("2026-06-04 12:00"))
    assert WithdrawalPeriod.objects.get().source == stay.uuid
    assert answer_for(cow, at("2026-06-12 00:00")).word == "TANK"


def test_leaving_that_never_was_is_no_arrival(returned, vet):
    cow, _ = returned
    left = cow.stays.get(leaving="sold")
    strike_stay(left, by=vet, reason="animal")
    assert not WithdrawalPeriod.objects.exists()
    assert answer_for(cow, NOON).word == "TANK"


def test_longer_rule_reaches_a_cow_that_came_back(returned):
    record_rule(
        stamp=make_stamp(),
        name=ARRIVAL_DAYS,
        value=Decimal(14),
        unit="d",
        scheme="hay milk",
        valid_from=date(2026, 6, 1),
        source="invented",
    )
    assert answer_for(returned[0], NOON).until == at("2026-06-16 00:00")


def test_longer_rule_of_a_scheme_reaches_her(bought):
    record_rule(
        stamp=make_stamp(),
        name=ARRIVAL_DAYS,
        value=Decimal(14),
        unit="d",
        scheme="hay milk",
        valid_from=date(2026, 1, 1),
        source="the scheme, from memory",
    )
    assert answer_for(bought, NOON).until == at("2026-06-16 00:00")


def test_corrected_arrival_follows(bought, vet):
    correct_animal(
        bought,
        stamp=make_stamp(by=vet),
        reason="other",
        words="born here",
        ear_tag=bought.ear_tag,
        arrived_from=None,
    )
    assert not WithdrawalPeriod.objects.exists()


def test_struck_animal_has_no_period(rules, vet):
    cow = record_animal(stamp=make_stamp(), ear_tag="999000000004713", arrived_from=make_holding())
    strike_animal(cow, by=vet, reason="twice")
    assert not WithdrawalPeriod.objects.exists()


def test_unfit_is_a_row_that_ends_and_goes_with_its_entries(cow, vet):
    seen = record_health_event(stamp=make_stamp(by=vet), animal=cow, sign="clots", unfit=True)
    row = WithdrawalPeriod.objects.get()
    assert (row.kind, row.source, row.during.upper) == ("health", seen.uuid, None)
    later = make_stamp(by=vet, at=NOON + timedelta(days=1))
    clean = record_health_event(stamp=later, animal=cow, sign="clean", settles=seen)
    assert WithdrawalPeriod.objects.get().during.upper == later.happened_at
    strike_health_event(clean, by=vet, reason="animal")
    assert WithdrawalPeriod.objects.get().during.upper is None
    strike_health_event(seen, by=vet, reason="animal")
    assert not WithdrawalPeriod.objects.exists()


# Art. 105(10): a prescription of an antimicrobial is valid five days (from memory).


@pytest.mark.parametrize(
    ("prescribed", "antimicrobial", "asked"),
    [
        pytest.param(date(2026, 5, 27), True, True, id="issued six days before"),
        pytest.param(date(2026, 5, 28), True, False, id="five days are valid"),
        pytest.param(date(2026, 5, 1), False, False, id="not an antimicrobial"),
        pytest.param(None, True, False, id="nobody wrote when"),
    ],
)
def test_old_prescription_is_asked_about(cow, prescribed, antimicrobial, asked):
    # The first dose is planned on 2 June.
    record_course(
        stamp=make_stamp(),
        animal=cow,
        medicine=make_medicine(84, antimicrobial=antimicrobial),
        diagnosis="mastitis",
        dose=Decimal(1),
        doses=1,
        prescribed_on=prescribed,
    )
    assert Notice.objects.filter(what__contains="is valid 5 days").exists() == asked
