"""At most three rings a shift for one role: what rings alone, what is bundled, when a shift is."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feed.rings import Ring, bundle_words, choose, shift_start

VIENNA = ZoneInfo("Europe/Vienna")
SHIFTS = (time(4), time(12), time(20))
MOMENTS = st.integers(0, 525_600).map(
    lambda minutes: datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
)


def rings(*causes: str) -> list[Ring]:
    return [Ring(cause=cause, role="feed hand", what=f"Do {cause}.") for cause in causes]


@pytest.mark.parametrize(
    ("wanted", "ringing", "rung", "alone", "bundled"),
    [
        ("", "", 0, "", ""),
        ("a", "", 0, "a", ""),
        ("ab", "", 0, "ab", ""),
        ("abc", "", 0, "ab", "c"),
        ("abcd", "", 0, "ab", "cd"),
        ("abcd", "ab", 2, "ab", "cd"),
        ("cd", "", 2, "", "cd"),
        ("abcde", "abcde", 0, "abcde", ""),
        ("ab", "a", 1, "ab", ""),
    ],
)
def test_two_alone_and_the_rest_in_one(
    wanted: str, ringing: str, rung: int, alone: str, bundled: str
) -> None:
    choice = choose(rings(*wanted), ringing=set(ringing), rung=rung, most=3)
    assert [ring.cause for ring in choice.alone] == list(alone)
    assert [ring.cause for ring in choice.bundled] == list(bundled)


@given(st.lists(st.sets(st.sampled_from("abcdefgh")), max_size=8), st.integers(1, 5))
def test_a_shift_never_rings_more_often(states: list[set[str]], most: int) -> None:
    rung, ringing, bundle_rang = 0, set[str](), False
    for state in states:
        choice = choose(rings(*sorted(state)), ringing=ringing, rung=rung, most=most)
        told = {ring.cause for ring in (*choice.alone, *choice.bundled)}
        assert told == state
        rung += len([ring for ring in choice.alone if ring.cause not in ringing])
        bundle_rang = bundle_rang or bool(choice.bundled)
        ringing = {ring.cause for ring in choice.alone}
    assert rung + bundle_rang <= most


@given(MOMENTS)
def test_every_moment_lies_in_one_shift(at: datetime) -> None:
    start = shift_start(at, VIENNA, SHIFTS)
    assert start <= at < start + timedelta(hours=10)
    assert start.time() in SHIFTS


def test_bundle_counts_what_it_cannot_say() -> None:
    one, *_ = many = rings(*(f"number {place}" for place in range(40)))
    assert bundle_words([one], 400) == "Do number 0."
    words = bundle_words(many, 400)
    assert words.startswith("40 more things at the fence: Do number 0; Do number 1;")
    assert "more." in words
    assert len(words) <= 400
