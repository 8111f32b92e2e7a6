"""Breeding arithmetic against published tables and worked dates.

Sources: days carried by breed of an Ohio station, as quoted in Ensminger (7.15, 7.17, with the
dates printed there); Knott 1932, 2,824 Holsteins (7.16); University of Kentucky (7.20); the rest
common practice. The days come from fixtures/, as in use.
"""

import statistics
from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from herd import reference
from herd.breeding import (
    EMPTY,
    IN_CALF,
    OPEN,
    RULE_NAMES,
    SERVED,
    Breed,
    Check,
    DryOffPlan,
    Life,
    Rules,
    carries,
    days_open,
    dry_off_plan,
    due_dates,
    round_after,
    round_before,
    standing,
)
from herd.breeding_rates import Period, calving_interval, cycle, pregnancies, rates
from herd.breeding_rules import rules_of

TODAY = date(2026, 6, 10)
RULES = rules_of({row["name"]: row["value"] for row in reference.rules()}, TODAY)
BREEDS = {
    row["breed"]: (Breed(row["gestation_days"], row["heifer_less"], row["valid_from"]),)
    for row in reference.breeds()
}
# C22: what a brown herd may set instead of the 288 days that were read (from memory).
BROWN_290 = (Breed(290, 2, date(2020, 1, 1)),)
DAY = timedelta(days=1)


def day(text: str) -> date:
    return date.fromisoformat(text)


@pytest.mark.parametrize(
    ("breed", "days"), [("AYR", 278), ("BSW", 288), ("GUE", 283), ("HOL", 279), ("JER", 278)]
)
def test_days_carried_are_those_of_the_published_table(breed, days):
    assert carries(BREEDS[breed], TODAY, heifer=False) == days


@pytest.mark.parametrize(
    ("breed", "due"),
    [("BSW", "2026-10-25"), ("HOL", "2026-10-16"), ("JER", "2026-10-15"), ("GUE", "2026-10-20")],
)
def test_calvings_of_one_service_by_breed(breed, due):
    served = day("2026-01-10")
    assert list(due_dates([served], BREEDS[breed], heifer=False)) == [day(due)]


@pytest.mark.parametrize(
    ("served", "heifer", "due"),
    [
        # W24, printed beside the table: a heifer served 20 Jun, a cow served 22 Sep (Jersey).
        pytest.param("2025-06-20", True, "2026-03-23", id="heifer"),
        pytest.param("2025-09-22", False, "2026-06-27", id="cow"),
    ],
)
def test_published_dates(served, heifer, due):
    assert list(due_dates([day(served)], BREEDS["JER"], heifer=heifer)) == [day(due)]


def test_spread_of_knott_holds_the_days_of_the_table():
    # Knott 1932: mean 279.9, 75 % within 275 to 285, all within 262 to 296.
    holstein = carries(BREEDS["HOL"], TODAY, heifer=False)
    assert 275 <= holstein <= 285
    assert abs(holstein - 279.9) < 1


def test_published_dry_off_of_60_days_is_61():
    # 7.18: 27 Jun to 27 Apr is printed as 60 days; sixty days before is 28 Apr. We count days.
    due = day("2026-06-27")
    assert due - timedelta(days=60) == day("2026-04-28")
    assert DryOffPlan(due, day("2026-04-28"), day("2026-04-27")).days == 61


def test_waiting_and_checks_as_read():
    # 7.19: 60 days usual; 7.20: 30 to 45 days after service: served 1 Mar, 31 Mar to 15 Apr.
    assert (RULES.waiting, RULES.check_from, RULES.check_until) == (60, 30, 45)
    served = day("2026-03-01")
    assert served + timedelta(days=RULES.check_from) == day("2026-03-31")
    assert served + timedelta(days=RULES.check_until) == day("2026-04-15")


def test_cycle_is_18_to_24_days():
    assert (RULES.cycle_short, RULES.cycle_long, RULES.period) == (18, 24, 21)


def t18() -> Life:
    """T18 and C23: calved 12 Jan, served 4 Apr 2026, seen in calf; 290 days."""
    return Life(
        calvings=(day("2026-01-12"),),
        services=(day("2026-04-04"),),
        checks=(Check(day("2026-05-10"), IN_CALF),),
        breed=BROWN_290,
    )


def test_c23_worked_example():
    place = standing(t18(), day("2026-11-13"), RULES)
    assert place.due == (day("2027-01-19"),)
    assert days_open(place, TODAY) == (82, False)
    assert (place.due[0] - place.calved).days == 372
    plan = dry_off_plan(place, day("2026-11-13"), RULES)
    assert plan is not None
    assert plan.by == day("2026-11-20")
    # T18: the Thursday round before, 61 days, just enough for a tube of 54 days and the margin.
    assert (plan.on, plan.days) == (day("2026-11-19"), 61)
    assert plan.short_of(54, RULES.margin) == 0
    later = plan.put_off()
    assert (later.on, later.days, later.short_of(54, RULES.margin)) == (day("2026-11-26"), 54, 7)


def test_round_that_is_past_becomes_the_next_one():
    place = standing(t18(), day("2026-11-20"), RULES)
    plan = dry_off_plan(place, day("2026-11-20"), RULES)
    assert plan is not None
    assert (plan.on, plan.short_of(54, RULES.margin)) == (day("2026-11-26"), 7)


@given(st.dates(date(2020, 1, 1), date(2040, 1, 1)), st.integers(1, 7))
def test_rounds_fall_on_their_weekday_within_a_week(moment, weekday):
    before, after = round_before(moment, weekday), round_after(moment, weekday)
    assert before.isoweekday() == after.isoweekday() == weekday
    assert 0 <= (moment - before).days < 7
    assert 0 <= (after - moment).days < 7


def test_two_services_a_cycle_apart_give_both_dates():
    # C22: two services 21 days apart and unclear: print both.
    life = Life(
        calvings=(day("2026-01-01"),),
        services=(day("2026-03-14"), day("2026-04-04")),
        breed=BROWN_290,
    )
    assert standing(life, day("2026-04-20"), RULES).due == (day("2026-12-29"), day("2027-01-19"))


@pytest.mark.parametrize(
    ("days", "fertile"),
    [(None, ("2026-03-14", "2026-04-04")), (36, ("2026-04-04",)), (58, ("2026-03-14",))],
)
def test_days_seen_at_the_check_tell_which_service_it_was(days, fertile):
    life = Life(
        calvings=(day("2026-01-01"),),
        services=(day("2026-03-14"), day("2026-04-04")),
        checks=(Check(day("2026-05-10"), IN_CALF, days),),
        breed=BROWN_290,
    )
    place = standing(life, TODAY, RULES)
    assert place.fertile == tuple(day(text) for text in fertile)
    assert place.sure


@pytest.mark.parametrize(
    ("services", "checks", "state"),
    [
        pytest.param((), (), OPEN, id="nothing yet"),
        pytest.param(("2026-05-01",), (), SERVED, id="not checked"),
        pytest.param(("2026-05-01",), (("2026-06-05", EMPTY),), OPEN, id="empty"),
        # A look says nothing of a service ten days before it.
        pytest.param(("2026-05-26",), (("2026-06-05", EMPTY),), SERVED, id="too young to see"),
        pytest.param(("2026-05-01",), (("2026-06-05", IN_CALF),), IN_CALF, id="in calf"),
        pytest.param(
            ("2026-04-01", "2026-06-08"), (("2026-05-10", IN_CALF),), SERVED, id="served after it"
        ),
        pytest.param(
            ("2026-03-01",), (("2026-04-05", IN_CALF), ("2026-05-20", EMPTY)), OPEN, id="lost"
        ),
    ],
)
def test_state_between_two_calvings(services, checks, state):
    life = Life(
        calvings=(day("2026-01-01"),),
        services=tuple(day(text) for text in services),
        checks=tuple(Check(day(text), result) for text, result in checks),
    )
    assert standing(life, TODAY, RULES).state == state


def test_calving_begins_anew():
    life = Life(
        calvings=(day("2025-01-01"), day("2026-06-01")),
        services=(day("2025-08-20"),),
        checks=(Check(day("2025-10-01"), IN_CALF),),
        dry_offs=(day("2026-04-02"),),
    )
    place = standing(life, TODAY, RULES)
    assert (place.state, place.dry_since, place.services) == (OPEN, None, ())
    assert days_open(place, TODAY) == (9, True)


def test_published_example_of_the_21_day_rate():
    # T17 / C25: 212 eligible, 121 served, 44 pregnant.
    period = Period(day("2026-05-01"), day("2026-05-22"), 212, 121, 44)
    assert period.service_rate == Decimal("57.1")
    assert period.conception_rate == Decimal("36.4")
    assert period.rate == Decimal("20.8")


def test_nothing_eligible_has_no_rate():
    assert Period(TODAY, TODAY, 0, 0, 0).rate is None


def herd_of(eligible: int, served: int, pregnant: int) -> list[Life]:
    """Cows that calved in January; in the period from 30 March so many were served and held."""
    begin = day("2026-03-30")
    lives = []
    for number in range(eligible):
        services = (begin + (number % 21) * DAY,) if number < served else ()
        checks = (Check(day("2026-06-01"), IN_CALF if number < pregnant else EMPTY),)
        lives.append(
            Life(
                calvings=(day("2026-01-05"),),
                services=services,
                checks=checks if services else (),
                present=((day("2025-01-01"), None),),
            )
        )
    return lives


def test_the_rate_is_counted_from_single_cows():
    lives = herd_of(212, 121, 44)
    # Not counted: still waiting, not to be served, in calf already, there for ten days only.
    waiting = Life(calvings=(day("2026-03-20"),), present=((day("2025-01-01"), None),))
    barred = Life(
        calvings=(day("2026-01-05"),),
        decisions=((day("2026-02-01"), False),),
        present=((day("2025-01-01"), None),),
    )
    carrying = Life(
        calvings=(day("2025-12-01"),),
        services=(day("2026-02-10"),),
        checks=(Check(day("2026-03-25"), IN_CALF),),
        present=((day("2025-01-01"), None),),
    )
    gone = Life(calvings=(day("2026-01-05"),), present=((day("2025-01-01"), day("2026-04-09")),))
    today = day("2026-06-21")
    cows = [cycle(life, today, RULES) for life in (*lives, waiting, barred, carrying, gone)]
    found = rates(cows, today, RULES, 4)[3]
    assert (found.begins, found.ends) == (day("2026-03-30"), day("2026-04-20"))
    assert (found.eligible, found.served, found.pregnant) == (212, 121, 44)
    assert (found.rate, found.provisional) == (Decimal("20.8"), False)


def test_last_periods_are_provisional_until_checked():
    life = Life(
        calvings=(day("2026-01-05"),),
        services=(day("2026-05-10"),),
        present=((day("2025-01-01"), None),),
    )
    found = rates([cycle(life, TODAY, RULES)], TODAY, RULES, 3)
    assert [period.provisional for period in found] == [True, True, True]
    assert [period.why for period in found] == [
        "still running; no service written",
        "1 not yet checked",
        "no service written",
    ]


def test_period_is_a_result_once_its_checks_are_in():
    lives = herd_of(12, 10, 4)
    unchecked = Life(
        calvings=(day("2026-01-05"),),
        services=(day("2026-04-10"),),
        present=((day("2025-01-01"), None),),
    )
    gone = Life(
        calvings=(day("2026-01-05"),),
        services=(day("2026-04-11"),),
        present=((day("2025-01-01"), day("2026-05-30")),),
    )
    today = day("2026-06-21")

    def period(*cows):
        return rates([cycle(life, today, RULES) for life in cows], today, RULES, 4)[3]

    assert (period(*lives, gone).why, period(*lives, gone).served) == ("", 11)
    # However long ago it was: nobody has looked yet.
    assert period(*lives, gone, unchecked).why == "1 not yet checked"
    assert period(herd_of(1, 0, 0)[0]).why == "no service written"
    assert period().why == "none could be served"


def test_calving_tells_the_service_nobody_checked():
    life = Life(
        calvings=(day("2024-01-01"), day("2025-01-15")),
        services=(day("2024-03-20"), day("2024-04-02")),
        breed=BREEDS["BSW"],
    )
    # 15 January less 288 days is 2 April.
    assert [one.since for one in pregnancies(life, RULES)] == [day("2024-04-02")]


def test_interval_is_the_mean_of_those_closed_in_the_year():
    gaps = [(date(2024, 3, 1), date(2025, 7, 1)), (date(2025, 1, 1), date(2026, 2, 1))]
    lives = [Life(calvings=(*gap,)) for gap in gaps]
    lives.append(Life(calvings=(date(2023, 1, 1), date(2024, 1, 1))))
    mean, number = calving_interval(lives, TODAY)
    assert number == 2
    assert float(mean) == statistics.fmean((later - earlier).days for earlier, later in gaps)
    assert calving_interval(lives[2:], TODAY) == (None, 0)


def test_every_rule_has_its_row():
    assert set(RULE_NAMES) == set(Rules.__dataclass_fields__)
    rows = [row for row in reference.rules() if row["name"] in RULE_NAMES.values()]
    assert len(rows) == len(RULE_NAMES)
    assert all(row["source"] for row in rows)
