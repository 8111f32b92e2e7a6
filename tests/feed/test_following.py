"""Rules of schemes the estate does not follow judge nothing, and every page says so."""

from decimal import Decimal
from typing import Any

import pytest

from config.days import local_day
from feed.drifting import drifting
from feed.following import not_followed
from feed.models import FeedLot, FeedRule
from feed.rations import ration_day
from feed.reference import load_reference
from feed.services.lots import record_feed_lot
from feed.shares import rules_on, year
from tests.cast import Api, Pages
from tests.factories.feed import make_fed_group, make_feed_lot, make_feeding, make_share_rule
from tests.factories.herd import DAY, NOON, make, make_holding, make_stamp

pytestmark = pytest.mark.django_db
TODAY = local_day(NOON)


@pytest.fixture
def other() -> None:
    """Meal only, which breaks every share, and rules of another scheme about all of it."""
    for over in ("group", "day", "year"):
        make_share_rule(name=f"roughage a {over}", over=over, scheme="the neighbours'")
    make(
        FeedRule, scheme="the neighbours'", name="any soaked feed", act="refuse",
        kept_as="soaked", valid_from=TODAY - 400 * DAY, source="invented",
    )  # fmt: skip
    group = make_fed_group(3)
    meal = make_feed_lot(kind="meal", dry_matter=Decimal(88), kept_as="soaked")
    for days in (0, 1, 2):
        make_feeding(feed_lot=meal, group=group, happened_at=NOON - days * DAY)


def test_they_judge_nothing(other: None) -> None:
    assert rules_on(TODAY) == []
    (ration,) = ration_day(TODAY).rations
    assert (ration.shares, ration.forbidden) == ([], [])
    assert year(TODAY - 300 * DAY, TODAY).whole == []
    assert drifting(NOON) == []
    mash: dict[str, Any] = {"kind": "meal", "name": "mash", "kept_as": "soaked"}
    record_feed_lot(stamp=make_stamp(), kg=Decimal(500), supplier=make_holding(), **mash)
    assert FeedLot.objects.filter(name="mash").exists()


def test_followed_they_judge_all(other: None, settings: Any) -> None:
    settings.ESTATE_SCHEMES = ["the neighbours'"]
    (ration,) = ration_day(TODAY).rations
    assert len(ration.broken) == len(ration.forbidden) == 1
    assert not year(TODAY - 300 * DAY, TODAY).whole[0].keeps
    assert len(drifting(NOON)) == 3


def test_pages_paper_and_api_say_so(
    other: None, feed_hand_client: Pages, inspector_api: Api
) -> None:
    assert not_followed(TODAY) == ["the neighbours'"]
    words = "The estate does not follow the neighbours&#x27;"
    for path in ("", "week/", "year/"):
        assert words in feed_hand_client.get(f"/feed/ration/{path}").content.decode()
    for path in ("rations", "feed-shares"):
        assert inspector_api.get(f"/api/{path}/").json()["not_followed"] == ["the neighbours'"]
    page = feed_hand_client.get("/feed/papers/no-fermented-feed/").content.decode()
    assert "the estate does not follow it" in page


def test_the_estates_own_schemes_are_among_the_rules_it_starts_with() -> None:
    load_reference(make_stamp())
    assert not_followed(TODAY) == ["haymilk TSG"]
