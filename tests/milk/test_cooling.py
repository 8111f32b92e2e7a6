"""How warm and how old milk may be: the rules as tables, no database, no clock."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from milk import cooling
from milk.cooling import Age, Cooled, From, Milking, Reading

START = datetime(2026, 6, 9, 3, 0, tzinfo=UTC)
HOUR, MINUTE = timedelta(hours=1), timedelta(minutes=1)
TWO = [Milking(start=START, end=START + HOUR), Milking(start=START + HOUR, end=START + 3 * HOUR)]


def rule(
    at_most: str = "8", hours: float = 2, counted: From = From.END, **fields: object
) -> Cooled:
    return Cooled(
        at_most=Decimal(at_most),
        within=timedelta(hours=hours),
        counted_from=counted,
        scheme="test",
        **fields,
    )


def test_counted_from_the_first_start_or_the_last_end() -> None:
    assert cooling.due_at(TWO, rule(counted=From.START, hours=4)) == START + 4 * HOUR
    assert cooling.due_at(TWO, rule()) == START + 5 * HOUR
    assert cooling.due_at([Milking(start=START)], rule()) is None
    assert cooling.due_at(TWO, rule(counted=From.RECEIPT)) is None


@pytest.mark.parametrize(
    ("minutes", "celsius", "warm"),
    [(299, "30", False), (300, "8.0", False), (300, "8.1", True), (301, "8.1", True)],
)
def test_a_reading_counts_from_the_due_moment_on(minutes: int, celsius: str, warm: bool) -> None:
    reading = Reading(at=START + minutes * MINUTE, celsius=Decimal(celsius))
    assert bool(cooling.too_warm([reading], TWO, [rule()])) is warm


def test_milk_poured_soon_need_not_be_cooled() -> None:
    excepted = rule(hours=0, used_within=2 * HOUR)
    reading = [Reading(at=START + 3 * HOUR, celsius=Decimal(32))]
    one = [Milking(start=START, end=START + HOUR)]
    assert not cooling.too_warm(reading, one, [excepted], used_at=START + 3 * HOUR)
    assert cooling.too_warm(reading, one, [excepted], used_at=START + 3 * HOUR + MINUTE)
    # Still in the tank: it may be poured in time until the two hours are over.
    early = [Reading(at=START + 2 * HOUR, celsius=Decimal(32))]
    assert not cooling.too_warm(early, one, [excepted])
    assert cooling.too_warm(reading, one, [excepted])


@pytest.mark.parametrize(
    ("hours", "celsius", "old"),
    [(24, 15, False), (24.1, 15, True), (24.1, 8, False), (24.1, None, None), (23, None, False)],
)
def test_warm_milk_is_used_within_a_day(hours: float, celsius: int | None, old: object) -> None:
    day = Age(scheme="test", within=24 * HOUR, warmer_than=Decimal(8))
    found = cooling.too_old(
        START,
        day,
        START + timedelta(hours=hours),
        oldest_on=START.date(),
        on=(START + timedelta(hours=hours)).date(),
        celsius=None if celsius is None else Decimal(celsius),
    )
    assert found is old


def test_rules_say_what_they_ask_for() -> None:
    assert rule().words == "at most 8 °C 2 h after the end of milking (test)"
    assert "from its arrival" in rule("10", 0, From.RECEIPT).words
    assert (
        Age(scheme="test", days=2).words
        == "used within 2 calendar days of its oldest milking (test)"
    )
    assert (
        "when warmer than 8 °C"
        in Age(scheme="test", within=24 * HOUR, warmer_than=Decimal(8)).words
    )
