"""What is added to the times of a phone whose clock is wrong."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.offline_clock import NONE, Clocks, Sent, shift_of, shift_words

RIGHT = datetime(2026, 6, 8, 5, 10, tzinfo=UTC)
WRITTEN = RIGHT - timedelta(minutes=70)
TOLERANCE = timedelta(minutes=2)
HOURS = timedelta(hours=3)


def clocks(wrong_by, *, before=None, contact=None, wrong_then=None):
    """A phone whose clock is ahead by so much now, and was by ``wrong_then`` when it wrote."""
    then = wrong_by if wrong_then is None else wrong_then
    return Clocks(now=RIGHT + wrong_by, written=WRITTEN + then, before=before, contact=contact)


@pytest.mark.parametrize(
    ("ahead", "shift"),
    [
        (HOURS, -HOURS),
        (-HOURS, HOURS),
        (TOLERANCE, NONE),
        (-TOLERANCE, NONE),
        (TOLERANCE + timedelta(seconds=1), -TOLERANCE - timedelta(seconds=1)),
    ],
)
def test_a_difference_beyond_the_tolerance_is_taken_off(ahead, shift):
    assert shift_of(clocks(ahead), RIGHT, TOLERANCE) == (shift, True)


def test_a_clock_set_right_after_the_writing_is_seen_by_what_it_was_before():
    phone = clocks(NONE, wrong_then=HOURS, before=-HOURS, contact=RIGHT - timedelta(hours=2))
    # As it stands the entry would have been written two hours ahead of now.
    assert shift_of(phone, RIGHT, TOLERANCE) == (-HOURS, True)


def test_a_clock_set_wrong_before_the_writing_is_seen_by_what_it_is_now():
    contact = RIGHT - timedelta(hours=2)
    phone = clocks(HOURS, before=NONE, contact=contact)
    assert shift_of(phone, RIGHT, TOLERANCE) == (-HOURS, True)


def test_where_both_could_be_the_one_of_now_counts_and_is_not_sure():
    quarter = timedelta(minutes=15)
    phone = clocks(quarter, before=NONE, contact=RIGHT - timedelta(hours=9), wrong_then=NONE)
    assert shift_of(phone, RIGHT, TOLERANCE) == (-quarter, False)


@given(
    ahead=st.timedeltas(timedelta(days=-400), timedelta(days=400)),
    ago=st.timedeltas(NONE, timedelta(days=30)),
)
def test_whatever_the_clock_says_the_writing_comes_out_right(ahead, ago):
    phone = Clocks(now=RIGHT + ahead, written=RIGHT - ago + ahead)
    shift, sure = shift_of(phone, RIGHT, TOLERANCE)
    off = abs(phone.written + shift - (RIGHT - ago))
    assert sure
    assert off <= (TOLERANCE if shift == NONE else timedelta(seconds=1))


@pytest.mark.parametrize(
    ("shift", "words"),
    [(-HOURS, "-3:00"), (timedelta(minutes=12), "+0:12"), (26 * HOURS, "+78:00")],
)
def test_a_shift_is_read_in_hours_and_minutes(shift, words):
    assert shift_words(shift) == words


def test_only_times_of_the_phone_are_put_right():
    sent = Sent(
        number=None,
        user=1,
        device="",
        written_at=RIGHT,
        shift=-HOURS,
        texts=frozenset({"by phone"}),
    )
    assert sent.put_right(RIGHT, "by phone") == RIGHT - HOURS
    assert sent.put_right(RIGHT, "by server") == RIGHT
