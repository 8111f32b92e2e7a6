"""The air by the hour: written, refused, and what it does to the window of a load."""

from datetime import date, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from config.entries import Stamp
from feed.models import AirHour
from feed.services.rules import record_clearance_rule, strike_rule
from feed.services.weather import NOT_FULL, NOT_YET, TOO_FAR, record_air, strike_air
from tests.cast import user_in
from tests.factories.feed import computed, make_air, make_batch, make_clearance_rule, on_the_hour
from tests.factories.herd import DAY, HOUR, NOON

pytestmark = pytest.mark.django_db
VIENNA = ZoneInfo("Europe/Vienna")
TODAY = date(2026, 6, 2)


def stamp() -> Stamp:
    return Stamp.now(user_in("feed hand"))


def test_the_weather_of_the_whole_day_gives_the_band() -> None:
    make_air(TODAY, 21)
    load = make_batch(air_temperature=None)
    assert load.air_used == Decimal(21)
    assert load.deadline == NOON + 18 * HOUR


def test_without_weather_the_cautious_band_holds() -> None:
    load = make_batch(air_temperature=None)
    assert load.air_used is None
    assert load.deadline == NOON + 8 * HOUR


def test_an_hour_that_is_missing_may_have_been_the_warmest() -> None:
    hours = make_air(TODAY, 21)
    load = make_batch(air_temperature=None)
    strike_air(hours[3], by=user_in("feed hand"), reason="quantity")
    load.refresh_from_db()
    assert load.air_used is None
    assert load.deadline == NOON + 8 * HOUR


def test_what_is_written_on_the_load_beats_the_weather() -> None:
    make_air(TODAY, 21)
    assert make_batch(air_temperature=Decimal(29)).deadline == NOON + 8 * HOUR


def test_measured_beats_forecast() -> None:
    make_air(TODAY, 31, forecast=True)
    load = make_batch(air_temperature=None)
    assert load.air_used == Decimal(31)
    make_air(TODAY, 14)
    assert computed(load).air_used == Decimal(14)


def test_written_hour_moves_the_window_at_once() -> None:
    hours = make_air(TODAY, 21)
    load = make_batch(air_temperature=None)
    strike_air(hours[14], by=user_in("feed hand"), reason="quantity")
    record_air(stamp=stamp(), hour=hours[14].hour, celsius=Decimal("28.5"))
    load.refresh_from_db()
    assert load.air_used == Decimal("28.5")
    assert load.deadline == NOON + 8 * HOUR


@pytest.mark.parametrize(
    ("ahead", "forecast", "words"),
    [
        (timedelta(minutes=7), False, NOT_FULL),
        (2 * HOUR, False, NOT_YET),
        (20 * DAY, True, TOO_FAR),
    ],
)
def test_hours_that_cannot_be(ahead: timedelta, forecast: bool, words: str) -> None:
    hour = on_the_hour(timezone.now()) + ahead
    with pytest.raises(ValidationError, match=words.partition("}")[2].partition("{")[0]):
        record_air(stamp=stamp(), hour=hour, celsius=Decimal(20), forecast=forecast)
    assert not AirHour.objects.exists()


def test_an_hour_has_one_temperature() -> None:
    hour = on_the_hour(timezone.now() - HOUR)
    record_air(stamp=stamp(), hour=hour, celsius=Decimal(20))
    with pytest.raises(ValidationError, match="temperature already"):
        record_air(stamp=stamp(), hour=hour, celsius=Decimal(21))
    record_air(stamp=stamp(), hour=hour, celsius=Decimal(21), forecast=True)


def test_cleared_by_the_morning_after() -> None:
    make_clearance_rule(time(5))
    load = make_batch(air_temperature=Decimal(10))
    assert load.deadline is not None
    assert load.deadline.astimezone(VIENNA).isoformat() == "2026-06-03T05:00:00+02:00"


def test_hours_by_temperature_hold_beside_the_morning() -> None:
    make_clearance_rule()
    assert make_batch().deadline == NOON + 12 * HOUR


def test_the_morning_instead_of_the_hours() -> None:
    make_clearance_rule(instead=True)
    load = make_batch(air_temperature=Decimal(30))
    assert load.deadline is not None
    assert load.deadline.astimezone(VIENNA).isoformat() == "2026-06-03T06:00:00+02:00"


def test_a_new_morning_shortens_open_loads_and_never_lengthens_them() -> None:
    load = make_batch(air_temperature=Decimal(10))
    values: dict[str, Any] = {"valid_from": TODAY, "source": "common practice"}
    vet = Stamp.now(user_in("vet"))
    rule = record_clearance_rule(stamp=vet, clear_by=time(5), **values)
    load.refresh_from_db()
    shorter = load.deadline
    assert shorter is not None
    assert shorter < NOON + 24 * HOUR
    strike_rule(rule, by=vet.by, reason="other", words="hours alone")
    load.refresh_from_db()
    # As if it had never been: it came after the load and was struck again.
    assert load.deadline == NOON + 24 * HOUR
    hot = make_batch(air_temperature=Decimal(30))
    record_clearance_rule(stamp=vet.again(), clear_by=time(11), instead=True, **values)
    hot.refresh_from_db()
    assert hot.deadline == NOON + 8 * HOUR
