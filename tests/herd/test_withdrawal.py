"""When a cow is back: the acceptance scenarios T1 to T9, T24 and T28 to T30, and their edges."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from herd.kept_out import (
    NOT_KNOWN,
    SEAL,
    TUBE,
    DriedOff,
    colostrum_period,
    dry_period,
    unplanned_dose,
)
from herd.planned import back_in_tank, first_milking, milkings_between
from herd.withdrawal import (
    DRY,
    HOURS,
    MILK_FACTOR,
    NEVER,
    Given,
    Period,
    Rule,
    course_period,
    milk_floor,
    minutes_too_late,
)
from tests.herd.arithmetic import (
    GROUP_3,
    GROUP_5,
    GROUP_7,
    RULES,
    ZONE,
    at,
    course,
    estate,
    leaflet,
    shown,
    stands_in,
    times,
)

DRY_TUBE = (leaflet(36, milk=DRY, dry_days=49),)
TUBE_ON_1_MARCH = DriedOff(at("2026-03-01 18:00"), TUBE, "tube", DRY_TUBE)


def ended(period: Period | None) -> tuple[str | None, str | None]:
    """A period's end and the first milking back in group 5, on the estate's clock."""
    assert period is not None
    back = first_milking(stands_in(GROUP_5), ZONE, period.until) if period.until else None
    return shown(period.until), shown(back)


@pytest.mark.parametrize(
    ("group", "hours", "given", "end", "back", "withheld"),
    [
        pytest.param(
            GROUP_5,
            84,
            ["2026-06-02 17:00", "2026-06-03 05:00", "2026-06-03 17:00"],
            "2026-06-07 05:00",
            "2026-06-07 16:30",
            7,
            id="T1: the last of three starts the clock, and 04:30 is 30 min too early",
        ),
        pytest.param(
            GROUP_5, 84, ["2026-06-02 17:00"], "2026-06-06 05:00", "2026-06-06 16:30", 7, id="C2"
        ),
        pytest.param(
            GROUP_5,
            84,
            ["2026-06-02 10:00"],
            "2026-06-05 22:00",
            "2026-06-06 04:30",
            7,
            id="T2: between milkings",
        ),
        pytest.param(
            GROUP_3,
            96,
            ["2026-06-02 04:30"],
            "2026-06-06 04:30",
            "2026-06-06 16:10",
            8,
            id="T3: her own group starts 20 min too early",
        ),
        pytest.param(
            GROUP_5,
            96,
            ["2026-06-02 04:30"],
            "2026-06-06 04:30",
            "2026-06-06 04:30",
            7,
            id="a milking that starts at the very end is hers",
        ),
        pytest.param(
            GROUP_7,
            84,
            ["2026-06-02 17:40"],
            "2026-06-06 05:40",
            "2026-06-06 17:15",
            7,
            id="T24: the cow that really got the dose",
        ),
        pytest.param(
            GROUP_5,
            72,
            ["2026-10-23 17:00"],
            "2026-10-26 16:00",
            "2026-10-26 16:30",
            5,
            id="T28: the clocks go back, 72 h end at 16:00",
        ),
        pytest.param(
            GROUP_7,
            72,
            ["2026-03-27 17:00"],
            "2026-03-30 18:00",
            "2026-03-31 05:15",
            7,
            id="T30: the clocks go forward, 17:15 is still NOT",
        ),
    ],
)
def test_hours_after_the_last_dose(group, hours, given, end, back, withheld):
    ordered = course(*given, hours=hours)
    period = course_period(ordered, estate(group))
    assert period is not None
    first = first_milking(stands_in(group), ZONE, period.until)
    assert (shown(period.until), shown(first)) == (end, back)
    # A milking that starts with the dose was milked before it.
    after = at(given[-1]) + timedelta(minutes=1)
    assert milkings_between(stands_in(group), ZONE, after, first) == withheld


def test_vet_is_told_that_half_an_hour_cost_a_milking():
    period = course_period(course("2026-06-03 17:00"), estate())
    assert minutes_too_late(period.until, estate()) == 30


def test_vet_is_told_nothing_when_it_was_not_close():
    period = course_period(course("2026-06-02 10:00"), estate())
    assert minutes_too_late(period.until, estate()) is None


def test_skipped_dose_does_not_start_the_clock():
    skipped = (Given(at("2026-06-03 17:00"), skipped=True),)
    ordered = course("2026-06-02 17:00", "2026-06-03 05:00", doses=3, skipped=skipped)
    assert ended(course_period(ordered, estate()))[0] == "2026-06-06 17:00"


def test_course_of_skipped_doses_withholds_nothing():
    skipped = (Given(at("2026-06-03 17:00"), skipped=True),)
    ordered = course(starts=at("2026-06-03 17:00"), doses=1, skipped=skipped)
    assert course_period(ordered, estate()) is None


def test_planned_doses_count_until_they_are_skipped():
    ordered = course("2026-06-02 17:00", doses=3, interval_hours=12)
    period = course_period(ordered, estate())
    assert ended(period)[0] == "2026-06-07 05:00"
    assert "planned dose Wed 03 Jun 17:00, 2 to give" in period.why


def test_late_dose_moves_the_planned_ones_after_it():
    ordered = course("2026-06-02 22:00", starts=at("2026-06-02 17:00"), doses=2, interval_hours=12)
    assert ended(course_period(ordered, estate()))[0] == "2026-06-06 22:00"


def test_nothing_given_yet_counts_from_the_plan():
    ordered = course(starts=at("2026-06-02 17:00"), doses=1)
    period = course_period(ordered, estate())
    assert (shown(period.since), shown(period.until)) == ("2026-06-02 17:00", "2026-06-06 05:00")


@pytest.mark.parametrize(
    ("own", "end", "back"),
    [
        pytest.param(144, "2026-06-10 17:00", "2026-06-11 04:30", id="T4: the vet's own 144 h"),
        pytest.param(200, "2026-06-13 01:00", "2026-06-13 04:30", id="longer is the vet's to say"),
        pytest.param(96, "2026-06-10 17:00", "2026-06-11 04:30", id="shorter is lifted to 144 h"),
    ],
)
def test_off_leaflet_counts_the_vets_own_period(own, end, back):
    ordered = course("2026-06-04 17:00", off_leaflet=True, own_milk_hours=Decimal(own))
    assert ended(course_period(ordered, estate())) == (end, back)


def test_extended_course_costs_twelve_milkings():
    # T4: a dose at 17:00 on 4 June, back on 11 June at 04:30.
    since, back = at("2026-06-04 17:00"), at("2026-06-11 04:30")
    assert milkings_between(stands_in(GROUP_5), ZONE, since, back) == 12


def test_period_of_zero_hours_withholds_nothing_and_is_written():
    # T6.
    period = course_period(course("2026-06-02 10:00", hours=0), estate())
    assert period.zero
    assert "0 h after" in period.why


def test_zero_period_off_leaflet_is_a_day_at_least():
    # T6.
    ordered = course("2026-06-02 10:00", hours=0, off_leaflet=True, own_milk_hours=Decimal(24))
    period = course_period(ordered, estate())
    assert (period.zero, shown(period.until)) == (False, "2026-06-03 10:00")


@pytest.mark.parametrize(
    ("calved", "drug_end", "back", "withheld"),
    [
        pytest.param(
            "2026-05-01 02:00", "2026-05-02 14:00", "2026-05-05 04:30", 8, id="T7: in time"
        ),
        pytest.param(
            "2026-04-10 02:00", "2026-04-21 07:00", "2026-04-21 16:30", 23, id="T8: early"
        ),
    ],
)
def test_dry_cow_tube_and_calving(calved, drug_end, back, withheld):
    calving = at(calved)
    drug = dry_period(TUBE_ON_1_MARCH, estate(), [calving])
    colostrum = colostrum_period(calving, estate())
    spans = [(drug.since, drug.until), (colostrum.since, colostrum.until)]
    first = back_in_tank(calving, spans, stands_in(GROUP_5), ZONE)[1]
    assert shown(drug.until) == drug_end
    assert shown(first) == back
    assert milkings_between(stands_in(GROUP_5), ZONE, calving, first) == withheld


def test_dry_cow_is_out_until_she_calves():
    period = dry_period(TUBE_ON_1_MARCH, estate())
    assert (period.until, period.known) == (None, True)


def test_calving_before_the_tube_is_not_the_one():
    assert dry_period(TUBE_ON_1_MARCH, estate(), [at("2025-04-10 02:00")]).until is None


def test_seal_alone_ends_with_the_calving():
    sealed = DriedOff(at("2026-03-01 18:00"), SEAL)
    assert shown(dry_period(sealed, estate(), [at("2026-05-01 02:00")]).until) == "2026-05-01 02:00"


@pytest.mark.parametrize(
    "dried",
    [
        pytest.param(DriedOff(at("2026-03-01 18:00"), NOT_KNOWN), id="nobody knows what"),
        pytest.param(DriedOff(at("2026-03-01 18:00"), TUBE, "tube"), id="no leaflet"),
        pytest.param(
            DriedOff(at("2026-03-01 18:00"), TUBE, "tube", (leaflet(None, milk=NEVER),)),
            id="never for animals in milk",
        ),
        pytest.param(
            DriedOff(at("2026-03-01 18:00"), TUBE, "tube", (leaflet(None),)), id="no hours"
        ),
    ],
)
def test_unknown_dry_off_stays_out_after_calving(dried):
    period = dry_period(dried, estate(), [at("2026-05-01 02:00")])
    assert (period.until, period.known) == (None, False)


def test_milking_tube_at_dry_off_is_out_until_calving_and_its_hours():
    dried = DriedOff(at("2026-04-30 18:00"), TUBE, "tube", (leaflet(84),))
    period = dry_period(dried, estate(), [at("2026-05-01 02:00")])
    assert shown(period.until) == "2026-05-04 06:00"


@pytest.mark.parametrize(
    ("last", "end"),
    [
        pytest.param("2026-06-02 17:00", "2026-06-08 05:00", id="T9: the last dose is under 132 h"),
        pytest.param("2026-05-30 17:00", "2026-06-03 05:00", id="T9: ended before, stays 84 h"),
        pytest.param("2026-06-01 00:00", "2026-06-06 12:00", id="the day itself is the new one"),
        pytest.param("2026-05-31 23:59", "2026-06-04 11:59", id="a minute before is the old one"),
    ],
)
def test_leaflet_of_the_last_dose_counts(last, end):
    leaflets = (leaflet(84), leaflet(132, valid_from=date(2026, 6, 1)))
    ordered = course("2026-05-29 17:00", last, leaflets=leaflets)
    assert ended(course_period(ordered, estate()))[0] == end


def test_back_after_leaflet_change_in_the_course():
    # T9.
    leaflets = (leaflet(84), leaflet(132, valid_from=date(2026, 6, 1)))
    ordered = course("2026-05-31 17:00", "2026-06-02 17:00", leaflets=leaflets)
    assert ended(course_period(ordered, estate()))[1] == "2026-06-08 16:30"


def test_seventh_milking_of_the_leaflet_counts_as_well():
    # T28: the hours end at 16:00, and the seventh milking is on Tuesday.
    leaflets = (leaflet(72, milk_milkings=7),)
    period = course_period(course("2026-10-23 17:00", leaflets=leaflets), estate())
    assert ended(period) == ("2026-10-27 04:30", "2026-10-27 04:30")
    assert period.milkings == 7


def test_leaflet_that_speaks_in_milkings_only():
    leaflets = (leaflet(None, milk_milkings=7),)
    period = course_period(course("2026-06-02 17:00", leaflets=leaflets), estate())
    assert (shown(period.until), period.zero) == ("2026-06-06 04:30", False)


@pytest.mark.parametrize(
    "planned", [times("04:30"), times("04:00", "12:00", "20:00")], ids=["once", "three times"]
)
def test_milked_otherwise_than_twice_counts_twelve_hours_each(planned):
    leaflets = (leaflet(None, milk_milkings=7),)
    period = course_period(course("2026-06-02 17:00", leaflets=leaflets), estate(planned))
    assert shown(period.until) == "2026-06-06 05:00"


@pytest.mark.parametrize(
    ("fold", "end"),
    [
        pytest.param(1, "2026-10-27 02:40", id="the second 02:40"),
        pytest.param(0, "2026-10-27 01:40", id="answered: before the clocks went back"),
    ],
)
def test_half_past_two_twice(fold, end):
    # T29.
    period = course_period(course(at("2026-10-25 02:40", fold=fold), hours=48), estate())
    assert shown(period.until) == end


@pytest.mark.parametrize(
    "fields",
    [
        pytest.param({"leaflets": ()}, id="no leaflet"),
        pytest.param({"leaflets": (leaflet(84, valid_from=date(2026, 7, 1)),)}, id="not yet"),
        pytest.param({"leaflets": (leaflet(None),)}, id="hours not known"),
        pytest.param({"leaflets": (leaflet(None, milk=NEVER),)}, id="never"),
        pytest.param({"off_leaflet": True}, id="off leaflet without a period"),
        pytest.param(
            {"leaflets": (leaflet(None),), "own_milk_hours": Decimal(1)}, id="an hour is no answer"
        ),
    ],
)
def test_not_knowing_is_infinite(fields):
    period = course_period(course("2026-06-02 17:00", **fields), estate())
    assert (period.until, period.known) == (None, False)
    assert "vet must say" in period.why


def test_off_leaflet_without_rules_is_infinite():
    ordered = course("2026-06-02 17:00", off_leaflet=True, own_milk_hours=Decimal(500))
    few = tuple(rule for rule in RULES if rule.name != MILK_FACTOR)
    assert course_period(ordered, estate(rules=few)).until is None


def test_colostrum_without_rules_is_infinite():
    assert colostrum_period(at("2026-05-01 02:00"), estate(rules=())).until is None


@pytest.mark.parametrize(
    ("first_stay", "until"),
    [
        # Nine milkings had passed before anybody wrote where she stands: 108 h, by the clock.
        ("2026-05-20 00:00", "2026-05-05 14:00"),
        # Some may have passed, nobody knows: counted from where she is known to be milked.
        ("2026-05-04 12:00", "2026-05-08 16:30"),
    ],
)
def test_milkings_before_the_book_began_are_counted_by_the_clock(first_stay, until):
    stands = (replace(stands_in(GROUP_5)[0], since=at(first_stay)),)
    calved = colostrum_period(at("2026-05-01 02:00"), replace(estate(), stands=stands))
    assert shown(calved.until) == until


def test_dose_without_plan_is_infinite():
    assert unplanned_dose(at("2026-06-02 17:00"), "tube").until is None


def test_dry_cow_product_in_a_course_waits_for_the_calving():
    ordered = course("2026-03-01 18:00", leaflets=DRY_TUBE)
    assert course_period(ordered, estate()).until is None
    early = course_period(ordered, estate(), [at("2026-04-10 02:00")])
    assert shown(early.until) == "2026-04-21 07:00"


def test_meat_counts_in_days_of_twenty_four_hours():
    # T11.
    period = course_period(course("2026-06-03 17:00"), estate())
    assert shown(period.meat.until) == "2026-06-13 17:00"


def test_floor_is_the_rule_of_the_day():
    dated = (*RULES, Rule(MILK_FACTOR, Decimal(2), date(2026, 7, 1)))
    for when, hours in (("2026-06-30 12:00", 144), ("2026-07-01 12:00", 168)):
        assert milk_floor(leaflet(84, milk=HOURS), estate(rules=dated), at(when)) == hours


def test_of_several_schemes_the_strictest_counts():
    stricter = Rule(MILK_FACTOR, Decimal(3), date(2022, 1, 28), "a scheme")
    assert milk_floor(leaflet(84), estate(rules=(*RULES, stricter)), at("2026-06-02 10:00")) == 264
