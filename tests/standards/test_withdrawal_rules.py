"""Withdrawal arithmetic against the law and published notices.

Each row names its source. The rule values come from fixtures/herd_rules.json, as in use, so that a
changed row there is caught here.
"""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from config.models import Notice
from herd.kept_out import TUBE, DriedOff, arrival_period, colostrum_period, dry_period
from herd.planned import Stands, first_milking, numbered_milking
from herd.reference import load_reference
from herd.services.questions import ask_about_course
from herd.withdrawal import (
    COLOSTRUM_DAYS,
    DRY,
    MILK_FACTOR,
    MILK_NOT_AUTHORISED,
    MILK_ZERO,
    NEVER,
    Rule,
    course_period,
    latest,
    meat_floor,
    milk_floor,
)
from tests.factories.herd import make_course, make_dose, make_medicine, make_stamp
from tests.herd.arithmetic import GROUP_5, RULES, ZONE, at, course, estate, leaflet, shown, times

JUNE = at("2026-06-02 10:00")
DAYS = 24


@pytest.mark.parametrize(
    ("printed", "floor"),
    [
        # Regulation (EU) 2019/6 Art. 115(1)(a)(i): longest meat period times 1.5.
        pytest.param(10, 15, id="10 d"),
        # Art. 115(1)(a)(ii): 28 days when not authorised for food-producing animals.
        pytest.param(None, 28, id="not authorised"),
        # Art. 115(1)(a)(iii): 1 day for a zero period and another family; read for all here.
        pytest.param(0, 1, id="0 d"),
        # Art. 115(2), rounding up to whole days: from memory.
        pytest.param(5, 8, id="7.5 d is 8 d"),
    ],
)
def test_least_meat_period_off_leaflet(printed, floor):
    assert meat_floor(leaflet(84, meat_days=printed), estate(), JUNE) == floor


@pytest.mark.parametrize(
    ("printed", "floor"),
    [
        # Regulation (EU) 2019/6 Art. 115(1)(b)(i): longest milk period of any species times 1.5.
        # The same for milk in the United Kingdom: VM Regulations 2013 Sch. 4 para 2(3)(b).
        pytest.param(4 * DAYS, 6 * DAYS, id="4 d"),
        # Art. 115(1)(b)(ii): 7 days when not authorised for animals in milk.
        pytest.param(None, 7 * DAYS, id="not authorised"),
        # Art. 115(1)(b)(iii): 1 day for a zero period.
        pytest.param(0, 1 * DAYS, id="0 h"),
        # Art. 115(2), a fraction of a day counts as a whole one: from memory; reckoned by hand.
        pytest.param("108", 7 * DAYS, id="4.5 d is 6.75 d, 7 d"),
        pytest.param(84, 6 * DAYS, id="84 h is 5.25 d, 6 d"),
        pytest.param(60, 4 * DAYS, id="60 h is 3.75 d, 4 d"),
        pytest.param(96, 6 * DAYS, id="96 h is 6 d exactly"),
    ],
)
def test_least_milk_period_off_leaflet(printed, floor):
    assert milk_floor(leaflet(printed), estate(), JUNE) == floor


def test_product_never_for_animals_in_milk_counts_as_not_authorised():
    # Regulation (EU) 2019/6 Art. 115(1)(b)(ii).
    assert milk_floor(leaflet(48, milk=NEVER), estate(), JUNE) == 7 * DAYS


def test_no_factor_when_used_as_printed():
    # Regulation (EU) 2019/6 Art. 115(1), opening words: the floors are for a medicine without a
    # period for that species, or used off its leaflet.
    period = course_period(course("2026-06-02 10:00", hours=96), estate())
    assert period.until - JUNE == timedelta(hours=96)


def test_floor_is_never_undercut():
    # Regulation (EU) 2019/6 Art. 115(1), "not less than": 5 d where the floor is 6 d.
    ordered = course("2026-06-02 10:00", off_leaflet=True, own_milk_hours=Decimal(5 * DAYS))
    assert course_period(ordered, estate()).until - JUNE == timedelta(days=6)


def test_clock_starts_after_the_last_administration():
    # Regulation (EU) 2019/6 Art. 4(34), from memory: last dose 1 March 06:30, 7 d -> 8 March 06:30.
    period = course_period(course("2026-02-28 06:30", "2026-03-01 06:30", hours=7 * DAYS), estate())
    assert shown(period.until) == "2026-03-08 06:30"


@pytest.mark.parametrize(
    ("hours", "milking"),
    [
        # A notice on a changed leaflet period, published in the farming press (fwi.co.uk):
        # 132 h is the 11th milking. 84 h is the 7th by the same reckoning.
        pytest.param(132, 11, id="132 h"),
        pytest.param(84, 7, id="84 h"),
    ],
)
def test_hours_and_milkings_of_twelve_hours_agree(hours, milking):
    # Milked at 05:00 and 17:00, dosed right after a milking began.
    dosed = at("2026-06-02 17:00")
    group = (Stands(at("2026-01-01 00:00"), None, times("05:00", "17:00")),)
    by_hours = first_milking(group, ZONE, dosed + timedelta(hours=hours))
    assert numbered_milking(group, ZONE, dosed, milking, 12) == by_hours


def test_latest_end_of_overlapping_treatments_wins():
    # Follows from each period holding by itself; reckoned by hand: 5 May 06:00 and 7 May 18:00.
    ends = [at("2026-05-05 06:00"), at("2026-05-07 18:00")]
    assert latest(ends) == ends[1]
    assert latest([*ends, None]) is None


def test_cow_that_calves_early_waits_out_the_dry_days():
    # Wording of dry-cow leaflets in general (from memory): N days plus H hours after treatment when
    # she calves before N days. 35 d, 36 h, treated 1 April 08:00, calved 25 April.
    tube = DriedOff(at("2026-04-01 08:00"), TUBE, "tube", (leaflet(36, milk=DRY, dry_days=35),))
    period = dry_period(tube, estate(), [at("2026-04-25 12:00")])
    assert shown(period.until) == "2026-05-07 20:00"


@pytest.mark.parametrize(
    ("days", "first"),
    [
        # Swiss order on hygiene in milk production, Art. 10: the first 8 days. The day of calving
        # counts as day 1 (a convention): calved 1 May, first milk on 9 May.
        pytest.param(8, "2026-05-09 04:30", id="8 d"),
        # German milk order (repealed) § 18(2): the first 5 days.
        pytest.param(5, "2026-05-06 04:30", id="5 d"),
    ],
)
def test_days_after_calving_without_delivery(days, first):
    rule = Rule(COLOSTRUM_DAYS, Decimal(days), JUNE.date().replace(year=2000), "a scheme")
    here = estate(rules=(*RULES, rule))
    period = colostrum_period(at("2026-05-01 02:00"), here)
    group = (Stands(at("2026-01-01 00:00"), None, GROUP_5),)
    assert shown(first_milking(group, ZONE, period.until)) == first


def test_colostrum_rule_lies_inside_the_unions_three_to_five_days():
    # Regulation (EC) 853/2004 Annex III Section IX, point 1: colostrum is secreted up to 3 to 5
    # days post parturition.
    calved = at("2026-05-01 02:00")
    length = colostrum_period(calved, estate()).until - calved
    assert timedelta(days=3) <= length <= timedelta(days=5)


def test_both_calving_and_medicine_must_have_passed():
    # Two rules that hold each by itself: the later end counts.
    calved = at("2026-05-01 02:00")
    tube = DriedOff(at("2026-04-01 08:00"), TUBE, "tube", (leaflet(36, milk=DRY, dry_days=28),))
    drug = dry_period(tube, estate(), [calved])
    colostrum = colostrum_period(calved, estate())
    assert drug.until < colostrum.until
    assert latest([drug.until, colostrum.until]) == colostrum.until


def test_cow_from_a_herd_on_fermented_feed_is_out_for_ten_days():
    # Swiss order on hygiene in milk production (VHyMP), annex: her milk is excluded for 10 days,
    # kept apart and milked last. The day of arrival is day 1 (a convention): not 1 to 10 May.
    period = arrival_period(at("2026-05-01 09:00"), estate())
    group = (Stands(at("2026-01-01 00:00"), None, GROUP_5),)
    assert shown(first_milking(group, ZONE, period.until)) == "2026-05-11 04:30"


def test_floors_of_the_united_kingdom_are_those_of_the_union_for_milk():
    # VM Regulations 2013 Sch. 4 para 2(3)(b): longest period of any species times 1.5, 7 days, or
    # 1 day for a zero-hour product. Regulation (EU) 2019/6 Art. 115(1)(b) has the same figures.
    names = (MILK_FACTOR, MILK_NOT_AUTHORISED, MILK_ZERO)
    by_scheme = {
        scheme: [
            rule.value
            for name in names
            for rule in RULES
            if (rule.name, rule.scheme) == (name, scheme)
        ]
        for scheme in ("EU", "UK")
    }
    assert by_scheme["UK"] == by_scheme["EU"] == [Decimal("1.5"), Decimal(168), Decimal(24)]


def test_longest_period_is_times_one_and_a_half_also_when_counted_in_milkings():
    # Art. 115(1)(b)(i) with the published notice that 132 h is the 11th milking: 11 milkings used
    # off the leaflet are 132 h x 1.5 = 198 h = 8.25 d -> 9 d.
    printed = leaflet(None, milk_milkings=11)
    assert (
        milk_floor(printed, estate(), JUNE) == milk_floor(leaflet(132), estate(), JUNE) == 9 * DAYS
    )


@pytest.mark.parametrize(
    ("issued", "given", "asked"),
    [
        # Regulation (EU) 2019/6 Art. 105(10), from memory: an antimicrobial prescription is valid
        # 5 days from its issue. Issued 1 June, first dose 7 June.
        pytest.param("2026-06-01", "2026-06-07 08:00", True, id="the sixth day after"),
        pytest.param("2026-06-01", "2026-06-06 23:59", False, id="the fifth day after"),
    ],
)
@pytest.mark.django_db
def test_prescription_of_an_antimicrobial_is_valid_five_days(issued, given, asked):
    load_reference(make_stamp())
    course = make_course(
        medicine=make_medicine(84, antimicrobial=True),
        prescribed_on=date.fromisoformat(issued),
        happened_at=at(given),
    )
    make_dose(course, at(given))
    ask_about_course(course)
    assert Notice.objects.filter(closed_at=None, what__contains="is valid 5 days").exists() == asked


def test_zero_is_a_period_and_blank_is_none():
    # Regulation (EU) 2019/6 Art. 108(2)(h): the withdrawal period is written even if it is zero.
    assert course_period(course("2026-06-02 10:00", hours=0), estate()).zero
    assert not course_period(course("2026-06-02 10:00", hours=None), estate()).known


@pytest.mark.parametrize(
    ("given", "hours", "end"),
    [
        # The tz database, read by Python's zoneinfo: Europe/Vienna goes back on 25 October 2026 at
        # 03:00 and forward on 29 March 2026 at 02:00. Elapsed hours reckoned by hand.
        pytest.param("2026-10-23 17:00", 72, "2026-10-26 16:00", id="25 hours in that day"),
        pytest.param("2026-03-27 17:00", 72, "2026-03-30 18:00", id="23 hours in that day"),
    ],
)
def test_hours_are_elapsed_hours(given, hours, end):
    period = course_period(course(given, hours=hours), estate())
    assert shown(period.until) == end
