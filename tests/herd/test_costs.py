"""What a course costs and when it costs less: against a slow, minute-by-minute reference."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from herd.costs import better_time, cost_of
from herd.planned import planned_moment
from tests.herd.arithmetic import GROUP_5, ZONE, at, course, estate, leaflet, times
from tests.herd.test_withdrawal_properties import moments

MINUTE = timedelta(minutes=1)
GROUPS = (GROUP_5, times("04:10", "16:10"), times("05:00"), times("04:00", "12:00", "20:00"))
periods = st.integers(0, 40).map(lambda tenths: Decimal(tenths) * 6)


def ordered(starts, hours, doses=1):
    """A course of which nothing was given yet."""
    sheet = leaflet(hours)
    return course(starts=starts, doses=doses, interval_hours=12, leaflets=(sheet,))


def slow_cost(group, starts, hours, doses, others):
    """Milkings she misses, reckoned one start after the other."""
    end = starts + timedelta(hours=float(hours) + 12 * (doses - 1))
    if not hours:
        return 0
    first = starts.astimezone(ZONE).date() - timedelta(days=2)
    every = sorted(
        planned_moment(first + timedelta(days=day), planned.starts, ZONE)
        for day in range(60)
        for planned in group
    )
    return sum(
        starts < start < end and not any(since <= start < until for since, until in others)
        for start in every
    )


spans = st.lists(
    st.tuples(moments, st.integers(1, 200)).map(
        lambda pair: (pair[0], pair[0] + timedelta(hours=pair[1]))
    ),
    max_size=2,
)


@given(st.sampled_from(GROUPS), moments, periods, st.integers(1, 4), spans)
def test_milkings_of_a_course_are_those_it_alone_keeps_out(group, starts, hours, doses, others):
    cost = cost_of(ordered(starts, hours, doses), estate(group), others)
    assert cost.milkings == slow_cost(group, starts, hours, doses, others)


@given(st.sampled_from(GROUPS), moments, periods, st.integers(1, 3))
def test_better_time_is_the_best_of_every_minute(group, starts, hours, doses):
    starts = starts.replace(second=0, microsecond=0)
    planned = slow_cost(group, starts, hours, doses, [])
    every = {
        minutes: slow_cost(group, starts + minutes * MINUTE, hours, doses, [])
        for minutes in range(-120, 121)
    }
    best = min(every.values())
    better = better_time(ordered(starts, hours, doses), estate(group))
    if best == planned:
        assert better is None
        return
    assert better is not None
    assert planned - better.saves == best
    assert every[better.minutes] == best
    assert abs(better.minutes) == min(abs(m) for m, cost in every.items() if cost == best)


def test_half_an_hour_earlier_saves_a_milking():
    # T1 and C2.
    better = better_time(ordered(at("2026-06-02 17:00"), 84, 3), estate())
    assert (better.minutes, better.saves) == (-30, 1)
    assert better.cost.back == at("2026-06-07 04:30")


def test_milked_first_and_treated_then():
    better = better_time(ordered(at("2026-06-02 16:00"), 60), estate())
    assert (better.minutes, better.saves) == (30, 1)


def test_nothing_to_win():
    assert better_time(ordered(at("2026-06-02 10:00"), 84), estate()) is None


def test_end_nobody_knows_has_no_cost():
    unknown = replace(ordered(at("2026-06-02 10:00"), 84), leaflets=())
    cost = cost_of(unknown, estate())
    assert (cost.until, cost.back, cost.milkings) == (None, None, None)
    assert better_time(unknown, estate()) is None
