"""How long wheels stay in brine: the rule alone, without a database."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from milk.bands import Band, band_words, out_since
from milk.brine import IN_TIME, TOO_LONG, TOO_SHORT, Soak, Terms, same_hour, whole_days
from milk.brine_board import RowNow, rows_said

ZONE = ZoneInfo("Europe/Zurich")
TERMS = Terms(days=Decimal(20), short=Decimal(12), over=Decimal(2), late=Decimal(1))
PUT_IN = datetime(2026, 6, 1, 15, 0, tzinfo=ZONE)
DAY, HOUR, SECOND = timedelta(days=1), timedelta(hours=1), timedelta(seconds=1)
DUE = PUT_IN + 20 * DAY
YEARS_AGO = datetime(2020, 1, 1, tzinfo=UTC)


def soak(put_in=PUT_IN, taken_out=None, terms=TERMS):
    return Soak(put_in=put_in, taken_out=taken_out, terms=terms, zone=ZONE)


@pytest.mark.parametrize(
    ("taken_out", "judged"),
    [
        (DUE - 12 * HOUR - SECOND, TOO_SHORT),
        (DUE - 12 * HOUR, IN_TIME),
        (DUE, IN_TIME),
        (DUE + 2 * DAY, IN_TIME),
        (DUE + 2 * DAY + SECOND, TOO_LONG),
        (PUT_IN + 27 * DAY, TOO_LONG),
    ],
)
def test_too_short_and_too_long_at_the_bounds(taken_out, judged):
    assert soak(taken_out=taken_out).judged(DUE) == judged


def test_a_wheel_still_in_brine_is_never_too_short_and_late_before_it_is_too_long():
    lying = soak()
    assert lying.judged(PUT_IN + DAY) == IN_TIME
    assert (lying.days(PUT_IN + DAY - SECOND), lying.days(PUT_IN + DAY)) == (0, 1)
    assert [lying.days_left(DUE + n * DAY) for n in (-1, 0, 3)] == [1, 0, -3]
    assert not lying.is_late(DUE + DAY)
    assert lying.is_late(DUE + DAY + SECOND)
    assert lying.judged(DUE + DAY + SECOND) == IN_TIME
    assert lying.judged(DUE + 2 * DAY + SECOND) == TOO_LONG


def test_nothing_set_judges_nothing():
    assert soak(terms=Terms()).judged(DUE) == ""
    assert soak(terms=Terms()).due is None


@pytest.mark.parametrize(
    ("put_in", "elapsed"),
    [
        # The clocks of central Europe went back on 25 October 2026 and forward on 29 March 2026.
        (datetime(2026, 10, 10, 15, tzinfo=ZONE), 20 * DAY + HOUR),
        (datetime(2026, 3, 20, 15, tzinfo=ZONE), 20 * DAY - HOUR),
        (datetime(2026, 6, 1, 15, tzinfo=ZONE), 20 * DAY),
    ],
)
def test_days_are_of_the_calendar_at_the_hour_put_in(put_in, elapsed):
    due = soak(put_in).due
    assert due - put_in.astimezone(UTC) == elapsed
    assert due.astimezone(ZONE).hour == 15
    assert whole_days(put_in, due, ZONE) == 20
    assert whole_days(put_in, due - SECOND, ZONE) == 19


def test_an_hour_the_clocks_skip_is_the_one_after_it():
    put_in = datetime(2026, 3, 9, 2, 30, tzinfo=ZONE)
    assert same_hour(put_in, 20, ZONE).astimezone(ZONE) == datetime(2026, 3, 29, 3, 30, tzinfo=ZONE)


@given(
    start=st.integers(0, 15 * 365 * 86_400).map(lambda s: YEARS_AGO + timedelta(seconds=s)),
    days=st.integers(0, 60),
    seconds=st.integers(1, 86_000),
)
def test_whole_days_turn_at_the_hour_put_in(start, days, seconds):
    due = same_hour(start, days, ZONE)
    assert whole_days(start, due, ZONE) == days
    assert whole_days(start, due - timedelta(seconds=seconds), ZONE) == days - 1


def test_a_band_has_both_ends_in_it():
    band = Band(Decimal(15), Decimal(18))
    assert [band.side(Decimal(v)) for v in ("14.9", "15", "18", "18.1")] == [
        "below", "", "", "above",
    ]  # fmt: skip
    assert band_words("", Decimal("19.0"), "°C", band) == " 19 °C, ABOVE 18 °C"
    assert not Band().is_out(Decimal(90))


def test_out_since_is_the_first_of_the_last_that_are_all_out():
    rows = [(PUT_IN + n * HOUR, out) for n, out in enumerate([True, False, True, True])]
    assert out_since(rows) == PUT_IN + 2 * HOUR
    assert out_since(rows[:2]) is None
    assert out_since([]) is None


def test_rows_are_told_bath_by_bath():
    def row(bath, name):
        return RowNow(bath, name, 14, (), YEARS_AGO)

    told = rows_said([row("3", "15"), *(row("4", str(n)) for n in (6, 7, 8, 9, 12))])
    assert told == "bath 3, row 15; bath 4, rows 6 to 9, 12"
    assert rows_said([row("big", "")]) == "bath big"
    assert rows_said([row("1", "a"), row("1", "b")]) == "bath 1, rows a, b"
