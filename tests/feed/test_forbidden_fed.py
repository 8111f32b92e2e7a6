"""A feed that a scheme refuses, fed all the same: vet and cheesemaker hear until it is over."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from config import entries
from config.days import day_words, local_day
from config.models import Notice
from feed.models import Feeding, FeedRule
from feed.services.feedings import strike_feeding
from feed.services.lots import correct_feed_lot
from feed.services.notices import flag
from tests.factories.feed import (
    make_discard,
    make_fed_group,
    make_feed_lot,
    make_feeding,
)
from tests.factories.herd import DAY, HOUR, NOON, make, make_stamp, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def rule() -> FeedRule:
    rule: FeedRule = make(
        FeedRule, scheme="estate", name="soaked feed", act="refuse", kept_as="soaked",
        valid_from=NOON.date(), source="invented",
    )  # fmt: skip
    return rule


@pytest.fixture
def fed() -> Feeding:
    """100 of 1,000 kg, in the book before the rule was, fed when it held."""
    lot = make_feed_lot(kind="meal", kept_as="soaked", kg=Decimal(1000), happened_at=NOON - DAY)
    return make_feeding(feed_lot=lot, group=make_fed_group(3), kg=Decimal(100), happened_at=NOON)


def roles() -> list[str]:
    rows = Notice.objects.filter(closed_at=None, cause__startswith="grass:forbidden:")
    return sorted(rows.values_list("role", flat=True))


def test_vet_and_cheesemaker_hear_of_it_once(rule: FeedRule, fed: Feeding) -> None:
    assert flag(NOON + HOUR)["forbidden"] == 1
    assert roles() == ["cheesemaker", "vet"]
    notice = Notice.objects.filter(role="cheesemaker").get()
    assert "soaked feed (estate)" in notice.what
    assert "to group 3, 900 kg left" in notice.what
    flag(NOON + 5 * HOUR)
    assert Notice.objects.count() == 2


def test_the_feeding_struck_closes_it(rule: FeedRule, fed: Feeding) -> None:
    flag(NOON + HOUR)
    strike_feeding(fed, by=make_user(), reason="twice")
    flag(NOON + HOUR)
    assert roles() == []


def test_the_rule_struck_closes_it(rule: FeedRule, fed: Feeding) -> None:
    flag(NOON + HOUR)
    entries.strike(rule, by=make_user(), reason="twice")
    flag(NOON + HOUR)
    assert roles() == []


def test_the_lot_corrected_closes_it(rule: FeedRule, fed: Feeding) -> None:
    flag(NOON + HOUR)
    lot = fed.feed_lot
    fields: dict[str, Any] = {
        name: getattr(lot, name)
        for name in ("kind", "name", "supplier", "field", "kg", "dry_matter")
    }
    correct_feed_lot(
        lot, stamp=make_stamp(at=NOON - DAY), reason="product", kept_as="dry", **fields
    )
    flag(NOON + HOUR)
    assert roles() == []


def test_thrown_away_it_rings_until_its_milk_is_through(rule: FeedRule, fed: Feeding) -> None:
    make_discard(feed_lot=fed.feed_lot, kg=Decimal(900), happened_at=NOON + HOUR)
    flag(NOON + 59 * HOUR)
    assert roles() == ["cheesemaker", "vet"]
    flag(NOON + 60 * HOUR)
    assert roles() == []


def test_silage_rings_until_its_waiting_days_are_over(rule: FeedRule) -> None:
    make(
        FeedRule, scheme="estate", name="silage", act="refuse", kept_as="fermented",
        valid_from=NOON.date(), source="invented",
    )  # fmt: skip
    lot = make_feed_lot(kind="meal", kept_as="fermented", kg=Decimal(100), happened_at=NOON - DAY)
    make_feeding(feed_lot=lot, group=make_fed_group(3), kg=Decimal(100), happened_at=NOON)
    flag(NOON + 27 * DAY)
    assert roles() == ["cheesemaker", "vet"]
    day = day_words(local_day(NOON + 28 * DAY))
    told = Notice.objects.filter(closed_at=None).first()
    assert told is not None
    assert f"may go into cheese again from {day} on" in told.what
    flag(NOON + 28 * DAY)
    assert roles() == []


@pytest.mark.parametrize("change", [{"act": "warn"}, {"scheme": "another"}])
def test_a_warning_or_another_scheme_does_not_ring(change: dict[str, str], fed: Feeding) -> None:
    values = {"scheme": "estate", "act": "refuse", **change}
    make(FeedRule, name="soaked", kept_as="soaked", valid_from=NOON.date(), source="s", **values)
    flag(NOON + HOUR)
    assert roles() == []


def test_fed_before_the_rule_held_it_does_not_ring(rule: FeedRule, fed: Feeding) -> None:
    entries.strike(rule, by=make_user(), reason="twice")
    make(
        FeedRule, scheme="estate", name="soaked feed", act="refuse", kept_as="soaked",
        valid_from=NOON.date() + timedelta(days=1), source="invented",
    )  # fmt: skip
    flag(NOON + HOUR)
    assert roles() == []
