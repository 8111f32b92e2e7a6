"""What the shelf should hold: against a slow reference, in any order of writing, nothing lost."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from herd.stock import (
    BROKEN,
    COUNTED,
    DESTROYED,
    DRIED_OFF,
    GIVEN,
    LEAVING,
    RECEIVED,
    RETURNED,
    USED,
    Event,
    batch_key,
    in_order,
    room,
    shelf,
)

START = datetime(2026, 6, 1, 6, 0, tzinfo=UTC)


def hour(number: int) -> datetime:
    return START + timedelta(hours=number)


def event(at: int, what: str, quantity: int, **fields) -> Event:
    return Event(hour(at), what, Decimal(quantity), **fields)


events_of = st.lists(
    st.builds(
        event,
        st.integers(0, 12),
        st.sampled_from((RECEIVED, COUNTED, *LEAVING)),
        st.integers(0, 40),
        key=st.uuids().map(str),
    ),
    max_size=9,
)


def slowly(events: list[Event], at: datetime) -> Decimal:
    """What is there, minute by minute of a diary: the newest count, then everything after it."""
    past = [one for one in events if one.at <= at]
    counts = sorted((one.at, one.key) for one in past if one.what == COUNTED)
    there = Decimal(0)
    if counts:
        there = next(one.quantity for one in past if (one.at, one.key) == counts[-1])
        past = [one for one in past if one.at > counts[-1][0]]
    came = sum((one.quantity for one in past if one.what == RECEIVED), Decimal(0))
    went = sum((one.quantity for one in past if one.what in LEAVING), Decimal(0))
    return there + came - went


@given(events_of, st.integers(0, 13))
def test_same_as_the_diary(events, at):
    assert shelf(events, hour(at)).on_shelf == slowly(events, hour(at))


@given(events_of, st.randoms())
def test_order_of_writing_changes_nothing(events, dice):
    mixed = list(events)
    dice.shuffle(mixed)
    assert shelf(mixed) == shelf(events)
    assert room(mixed, hour(6)) == room(events, hour(6))


@given(events_of)
def test_no_quantity_is_lost(events):
    found = shelf(events)
    assert found.total(RECEIVED) - found.total(*LEAVING) + found.difference == found.on_shelf
    for what in (RECEIVED, *LEAVING):
        assert found.total(what) == sum(
            (one.quantity for one in events if one.what == what), Decimal(0)
        )


@given(events_of, st.integers(0, 12), st.sampled_from((BROKEN, RETURNED, DESTROYED, USED)))
def test_what_there_is_room_for_never_goes_below_nothing(events, at, what):
    """Taking all there is room for leaves no moment below zero that was not below already."""
    most = room(events, hour(at))
    taken = [*events, Event(hour(at), what, most, key="~")]
    for number in range(at, 14):
        before, after = slowly(events, hour(number)), slowly(taken, hour(number))
        assert after >= min(before, Decimal(0))


@given(events_of, st.integers(0, 12))
def test_one_more_than_there_is_room_for_goes_below(events, at):
    more = room(events, hour(at)) + 1
    moments = [number for number in range(at, 13) if not counted_by(events, at, number)]
    taken = [*events, Event(hour(at), BROKEN, more, key="~")]
    lowest = [balance_before_counts(taken, number) for number in moments]
    assert not lowest or min(lowest) < 0


def counted_by(events: list[Event], at: int, number: int) -> bool:
    """Whether somebody counted from ``at`` on and before ``number``."""
    return any(
        one.what == COUNTED and hour(at) <= one.at and one.at < hour(number) for one in events
    )


def balance_before_counts(events: list[Event], number: int) -> Decimal:
    """What is there at an hour, before a count of that very hour."""
    return slowly(
        [one for one in events if not (one.what == COUNTED and one.at == hour(number))],
        hour(number),
    )


def test_a_cupboard_by_hand():
    """400 in, 30 given, 4 at a drying off, 2 broken, 10 returned, 5 destroyed: 349."""
    events = [
        event(0, RECEIVED, 400, expires_on=date(2027, 6, 1)),
        event(1, GIVEN, 30),
        event(2, DRIED_OFF, 4),
        event(3, BROKEN, 2),
        event(4, RETURNED, 10),
        event(5, DESTROYED, 5),
    ]
    found = shelf(events)
    assert found.on_shelf == 349
    assert found.known
    assert found.expires_on == date(2027, 6, 1)
    assert shelf(events, hour(2)).on_shelf == 366


def test_a_count_sets_what_is_there_and_keeps_the_difference():
    found = shelf([event(0, RECEIVED, 40), event(1, GIVEN, 3), event(2, COUNTED, 36)])
    assert (found.on_shelf, found.difference, found.last_difference) == (36, -1, -1)
    again = shelf(
        [
            event(0, RECEIVED, 40),
            event(1, GIVEN, 3),
            event(2, COUNTED, 36),
            event(3, GIVEN, 1),
            event(4, COUNTED, 36),
        ]
    )
    assert (again.on_shelf, again.difference, again.last_difference) == (36, 0, 1)
    assert again.counted_at == hour(4)


def test_a_dose_written_late_before_the_count_leaves_the_count():
    counted = [event(0, RECEIVED, 40), event(5, COUNTED, 36)]
    late = [*counted, event(3, GIVEN, 4)]
    assert shelf(counted).difference == -4
    assert (shelf(late).difference, shelf(late).on_shelf) == (0, 36)


def test_used_without_a_receipt_stays_below_nothing():
    found = shelf([event(1, GIVEN, 3)])
    assert found.on_shelf == -3
    assert not found.known


def test_zero_is_counted_too():
    found = shelf([event(0, COUNTED, 0)])
    assert (found.on_shelf, found.counted, found.known) == (0, 0, True)


@pytest.mark.parametrize("order", [*permutations(range(3))])
def test_at_one_moment_the_count_comes_last(order):
    events = [event(1, RECEIVED, 10), event(1, BROKEN, 2), event(1, COUNTED, 8)]
    mixed = [events[number] for number in order]
    assert [one.what for one in in_order(mixed)] == [RECEIVED, BROKEN, COUNTED]
    assert shelf(mixed).difference == 0


def test_room_looks_ahead_to_what_was_used_meanwhile():
    events = [event(0, RECEIVED, 10), event(5, GIVEN, 8)]
    assert room(events, hour(1)) == 2
    assert room(events, hour(-1)) == 0
    assert room([*events, event(3, COUNTED, 9)], hour(1)) == 10


def test_batches_are_compared_without_spaces_and_capitals():
    assert batch_key(" dd-31 ") == batch_key("DD -31")
    assert batch_key("DD-31") != batch_key("DD-32")
