"""What holds of withdrawal arithmetic whatever was given, planned, printed, or the clock does."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from herd.planned import (
    PlannedTime,
    Stands,
    back_in_tank,
    both_moments,
    first_milking,
    later_moment,
    milkings_between,
    planned_moment,
    planned_starts,
)
from herd.withdrawal import Given, course_period, dry_end, latest, milk_floor
from tests.herd.arithmetic import GROUP_5, ZONE, at, course, estate, leaflet, stands_in

# Around both clock changes of 2026 in Europe (29 March, 25 October) and in between.
moments = st.datetimes(datetime(2026, 3, 20), datetime(2026, 11, 5)).map(  # noqa: DTZ001
    lambda naive: naive.replace(tzinfo=UTC)
)
hours = st.decimals(0, 400, places=1)
clocks = st.times().map(lambda clock: clock.replace(second=0, microsecond=0))
days = st.dates(date(2026, 3, 20), date(2026, 11, 5))
groups = st.lists(clocks, min_size=1, max_size=3, unique=True).map(
    lambda starts: tuple(
        PlannedTime(str(number), start, date(2020, 1, 1)) for number, start in enumerate(starts)
    )
)
spans = st.lists(
    st.tuples(moments, st.integers(1, 200)).map(
        lambda pair: (pair[0], pair[0] + timedelta(hours=pair[1]))
    ),
    min_size=1,
    max_size=5,
)


@given(st.lists(moments, min_size=1, max_size=6), moments, hours)
def test_another_dose_never_shortens(doses, another, period):
    before = course_period(course(*sorted(doses), hours=period), estate())
    after = course_period(course(*sorted([*doses, another]), hours=period), estate())
    assert after.until >= before.until


@given(st.lists(moments, min_size=1, max_size=4), st.integers(0, 5), hours)
def test_doses_still_planned_never_shorten(doses, more, period):
    given_now = course_period(course(*doses, hours=period), estate())
    planned = course(*doses, hours=period, doses=len(doses) + more)
    assert course_period(planned, estate()).until >= given_now.until


@given(st.lists(moments, min_size=1, max_size=4), moments)
def test_skipping_a_planned_dose_never_lengthens(doses, when):
    planned = course(*doses, doses=len(doses) + 1)
    skipped = course(*doses, doses=len(doses) + 1, skipped=(Given(when, skipped=True),))
    assert course_period(skipped, estate()).until <= course_period(planned, estate()).until


@given(moments, hours, hours)
def test_longer_period_never_ends_earlier(dosed, one, other):
    shorter, longer = sorted((one, other))
    first = course_period(course(dosed, hours=shorter), estate())
    second = course_period(course(dosed, hours=longer), estate())
    assert first.until <= second.until
    assert first_milking(stands_in(GROUP_5), ZONE, first.until) <= first_milking(
        stands_in(GROUP_5), ZONE, second.until
    )


@given(moments, hours)
def test_hours_are_real_hours_on_both_sides_of_a_clock_change(dosed, period):
    ended = course_period(course(dosed, hours=period), estate()).until
    assert ended - dosed == timedelta(hours=float(period))


@given(hours, hours)
def test_floor_grows_with_the_leaflet_and_is_whole_days(one, other):
    moment = at("2026-06-02 10:00")
    low, high = (milk_floor(leaflet(text), estate(), moment) for text in sorted((one, other)))
    assert low <= high
    assert low % 24 == 0
    assert low >= min(one, other) * Decimal("1.5")


@given(moments, moments, st.integers(0, 80), hours)
def test_early_calving_never_shortens_a_dry_cow_product(treated, calved, dry_days, period):
    sheet = leaflet(period, milk="dry", dry_days=dry_days)
    end = dry_end(treated, calved, sheet)
    assert end >= calved + timedelta(hours=float(period))
    assert end >= treated + timedelta(days=dry_days, hours=float(period))


@given(groups, moments)
def test_first_milking_is_a_planned_start_not_before_the_end(group, end):
    stands = stands_in(group)
    first = first_milking(stands, ZONE, end)
    assert first is not None
    assert first >= end
    local = first.astimezone(ZONE)
    assert any(first == planned_moment(local.date(), planned.starts, ZONE) for planned in group)


@given(groups, moments)
def test_no_planned_start_is_passed_over(group, end):
    # The slow way: every start of eight days, one after the other.
    begin = end.astimezone(ZONE).date() - timedelta(days=2)
    every = sorted(
        planned_moment(begin + timedelta(days=day), planned.starts, ZONE)
        for day in range(8)
        for planned in group
    )
    assert first_milking(stands_in(group), ZONE, end) == min(
        start for start in every if start >= end
    )


@given(groups, moments, st.integers(1, 20))
def test_planned_starts_come_in_order(group, after, many):
    found = planned_starts(stands_in(group), ZONE, after)
    starts = [next(found) for _ in range(many)]
    assert all(one <= other for one, other in pairwise(starts))


@given(groups, groups, moments, st.integers(1, 100))
def test_moved_cow_is_milked_by_the_group_she_stands_in(one, other, moved, later):
    stands = (Stands(at("2026-01-01 00:00"), moved, one), Stands(moved, None, other))
    first = first_milking(stands, ZONE, moved + timedelta(hours=later))
    assert first == first_milking(stands_in(other), ZONE, moved + timedelta(hours=later))


@given(days, clocks)
def test_typed_time_is_never_read_as_the_earlier_of_two(day, clock):
    earlier, later = both_moments(day, clock, ZONE)
    assert later_moment(day, clock, ZONE) == later
    assert earlier <= later


@given(days, clocks)
def test_planned_start_is_never_later_than_the_clock_first_shows_it(day, clock):
    start = planned_moment(day, clock, ZONE)
    local = start.astimezone(ZONE)
    # Either the clock shows that time then, or it skipped it and has jumped past.
    assert local.time() >= clock or local.date() > day
    minute_before = start - timedelta(minutes=1)
    assert minute_before.astimezone(ZONE).replace(tzinfo=None) < datetime.combine(day, clock) or (
        both_moments(day, clock, ZONE)[0] == start
    )


@given(spans, groups, moments)
def test_first_milking_back_lies_in_no_period(periods, group, moment):
    until, back = back_in_tank(moment, periods, stands_in(group), ZONE)
    assert back is not None
    assert moment <= until <= back
    assert not any(since <= back < end for since, end in periods)


@given(spans, groups, moments)
def test_every_milking_before_the_first_one_back_was_withheld(periods, group, moment):
    # Unless nothing ran at that moment: then she was in the tank all along.
    until, back = back_in_tank(moment, periods, stands_in(group), ZONE)
    for start in planned_starts(stands_in(group), ZONE, moment):
        if start >= back:
            break
        assert until == moment or any(since <= start < end for since, end in periods)


@given(spans, moments)
def test_end_nobody_knows_beats_every_other(periods, moment):
    open_ended = [*periods, (moment, None)]
    assert back_in_tank(moment, open_ended, stands_in(GROUP_5), ZONE) == (None, None)
    assert latest([*(end for _, end in periods), None]) is None


@given(moments, st.integers(0, 30))
def test_milkings_withheld_are_two_a_day(since, many):
    until = since + timedelta(days=many)
    found = milkings_between(stands_in(GROUP_5), ZONE, since, until)
    # A clock change within the days may move one start over their edge.
    assert abs(found - 2 * many) <= 1
