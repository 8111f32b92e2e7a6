"""A new rule acts on loads at once, and never gives one of them more time."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from feed.models import WindowRule
from feed.services.rules import record_window_rule, strike_rule
from tests.factories.feed import make_batch, make_window_rules
from tests.factories.herd import DAY, HOUR, NOON, make_stamp, make_user

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 2)


def new_rule(hours: int, **fields: Any) -> WindowRule:
    values: dict[str, Any] = {
        "from_temperature": Decimal(22),
        "valid_from": TODAY,
        "source": "vet, after a warm heap",
        **fields,
    }
    stamp = make_stamp(at=NOON + HOUR)
    return record_window_rule(stamp=stamp, hours=Decimal(hours), **values)


def test_shorter_rule_shortens_an_open_load() -> None:
    batch = make_batch()
    assert new_rule(6).hours == 6
    batch.refresh_from_db()
    assert batch.deadline == NOON + 6 * HOUR


def test_longer_rule_leaves_an_open_load_alone() -> None:
    batch = make_batch()
    new_rule(16)
    batch.refresh_from_db()
    assert batch.deadline == NOON + 12 * HOUR


def test_rule_leaves_loads_cut_before_its_day_alone() -> None:
    batch = make_batch(happened_at=NOON - DAY)
    new_rule(6)
    batch.refresh_from_db()
    assert batch.deadline == NOON - 12 * HOUR


def test_first_rule_of_all_gives_an_open_load_its_deadline() -> None:
    batch = make_batch(deadline=None)
    new_rule(12)
    batch.refresh_from_db()
    assert batch.deadline == NOON + 12 * HOUR


def test_struck_slip_gives_the_window_back() -> None:
    batch = make_batch()
    slip = new_rule(1)
    batch.refresh_from_db()
    assert batch.deadline == NOON + HOUR
    strike_rule(slip, by=make_user(), reason="quantity")
    batch.refresh_from_db()
    assert batch.deadline == NOON + 12 * HOUR


def test_strike_and_re_entry_do_not_lengthen_either() -> None:
    make_window_rules()
    batch = make_batch()
    rule = WindowRule.objects.get(from_temperature=22)
    strike_rule(rule, by=make_user(), reason="quantity")
    new_rule(16, valid_from=rule.valid_from)
    batch.refresh_from_db()
    assert batch.deadline == NOON + 12 * HOUR


def test_second_rule_of_a_band_and_day_is_refused() -> None:
    new_rule(6)
    with pytest.raises(ValidationError, match="has a rule from that day already"):
        new_rule(7)


def test_longer_than_a_cooler_band_is_refused() -> None:
    make_window_rules()
    with pytest.raises(ValidationError) as error:
        new_rule(19)
    assert "the 18 h of the cooler band from 15 °C" in error.value.message_dict["hours"][0]


@pytest.mark.parametrize(
    ("name", "value"),
    [("hours", "0.4"), ("hours", "73"), ("wet_factor", "1.1"), ("first_share", "-0.1")],
)
def test_values_out_of_range_are_refused(name: str, value: str) -> None:
    values: dict[str, Any] = {"hours": Decimal(12), name: Decimal(value)}
    with pytest.raises(ValidationError) as error:
        new_rule(**values)
    assert name in error.value.message_dict
