"""Shares over a year, what drifts, and what week and year pages say."""

from datetime import date, datetime
from decimal import Decimal
from typing import Any

import pytest

from config.models import Notice
from feed.drifting import drifting
from feed.services.drift import ring_for_drift
from feed.services.notices import flag
from feed.shares import year
from herd.models import Group
from tests.cast import Api, Pages
from tests.factories.feed import (
    make_batch,
    make_fed_group,
    make_feed_lot,
    make_feeding,
    make_field,
    make_figure,
    make_share_rule,
)
from tests.factories.herd import DAY, HOUR, NOON

pytestmark = pytest.mark.django_db
FIRST, LAST = date(2026, 1, 1), date(2026, 6, 2)


def feed_kg(group: Group, kind: str, dry: float, at: datetime = NOON, **fields: Any) -> None:
    """So many kg of dry matter of a kind of feed."""
    thing: dict[str, Any]
    if kind == "grass":
        thing = {"batch": make_batch(dry_matter=Decimal(20), happened_at=at, **fields)}
    else:
        thing = {"feed_lot": make_feed_lot(kind=kind, dry_matter=Decimal(50), **fields)}
    percent = 20 if kind == "grass" else 50
    kg = Decimal(str(dry)) * 100 / percent
    make_feeding(group=group, kg=kg, happened_at=at, **thing)


@pytest.mark.parametrize(("hay", "keeps"), [("749", False), ("750", True)])
def test_roughage_counts_over_the_year_and_not_the_day(hay: str, keeps: bool) -> None:
    # Implementing Regulation (EU) 2016/304: 74.9 % fails, 75 % does not.
    make_share_rule(name="roughage")
    group = make_fed_group()
    feed_kg(group, "meal", 1000 - int(hay), NOON - 60 * DAY)
    feed_kg(group, "hay", int(hay))
    (kept,) = year(FIRST, LAST).whole
    assert (kept.keeps, kept.shown) == (keeps, f"{Decimal(hay) / 10:.1f}")


def test_a_share_just_below_its_bound_is_not_rounded_up_to_it() -> None:
    make_share_rule(name="roughage")
    group = make_fed_group()
    feed_kg(group, "meal", 250.4)
    feed_kg(group, "hay", 749.6)
    (kept,) = year(FIRST, LAST).whole
    assert (kept.shown, kept.keeps) == ("74.9", False)


def test_own_land_by_field_and_by_the_share_of_a_lot() -> None:
    make_share_rule(name="own", kind="forage of the estate", of="forage dry matter")
    group = make_fed_group()
    feed_kg(group, "grass", 100, field=make_field(own=False))
    feed_kg(group, "grass", 100, field=make_field())
    feed_kg(group, "hay", 200, own_share=Decimal(25))
    (kept,) = year(FIRST, LAST).whole
    assert kept.value == pytest.approx(Decimal("37.5"))


def test_district_and_ratio() -> None:
    make_share_rule(name="district", kind="forage of the district", of="forage dry matter")
    make_share_rule(
        name="forage to meal",
        kind="forage",
        of="meal dry matter",
        unit="ratio",
        at_least=Decimal(1),
    )
    group = make_fed_group()
    feed_kg(group, "grass", 90, field=make_field(in_district=False))
    feed_kg(group, "hay", 10, in_district=True)
    feed_kg(group, "meal", 80)
    district, ratio = year(FIRST, LAST).whole
    assert (district.value, ratio.value) == (Decimal(10), Decimal("1.25"))
    assert (ratio.shown, ratio.unit, ratio.keeps) == ("1.25", "to 1", True)


def test_months_groups_and_what_is_not_counted() -> None:
    make_share_rule(name="roughage")
    one, other = make_fed_group(1), make_fed_group(2)
    feed_kg(one, "hay", 100, NOON - 40 * DAY)
    feed_kg(other, "meal", 100)
    bare = make_feed_lot(dry_matter=None, happened_at=NOON)
    make_feeding(group=one, feed_lot=bare, kg=Decimal(70))
    span = year(FIRST, LAST)
    assert [(month, kept[0].value) for month, kept in span.months] == [
        (date(2026, 4, 1), Decimal(100)),
        (date(2026, 6, 1), Decimal(0)),
    ]
    assert {group: kept[0].value for group, kept in span.groups} == {
        one.pk: Decimal(100),
        other.pk: Decimal(0),
    }
    assert (span.unmeasured_kg, span.dry_matter_kg) == (Decimal(70), Decimal(200))


def test_days_out_of_rule_are_counted() -> None:
    make_share_rule(name="hay", kind="hay", of="forage dry matter", over="group")
    group = make_fed_group()
    feed_kg(group, "grass", 100, NOON - DAY)
    feed_kg(group, "hay", 100)
    feed_kg(make_fed_group(), "meal", 100)
    ((rule, missed, counted),) = year(FIRST, LAST).broken
    assert (rule.name, missed, counted) == ("hay", 1, 2)


def test_the_day_is_the_estates_day() -> None:
    make_share_rule(name="roughage")
    # 23:30 on 31 Dec in Vienna is 22:30 UTC; 00:30 on 1 Jan is 23:30 UTC.
    group = make_fed_group()
    new_year = datetime.fromisoformat("2026-01-01T00:30:00+01:00")
    feed_kg(group, "hay", 100, new_year)
    feed_kg(group, "meal", 100, new_year - HOUR)
    (kept,) = year(FIRST, LAST).whole
    assert kept.value == Decimal(100)


def test_a_later_rule_counts_from_its_day_and_struck_ones_do_not() -> None:
    make_share_rule(name="roughage", at_least=Decimal(50))
    make_share_rule(name="roughage", at_least=Decimal(80), valid_from=LAST + DAY)
    feed_kg(make_fed_group(), "hay", 100)
    assert year(FIRST, LAST).whole[0].rule.at_least == 50
    assert year(FIRST, LAST + DAY).whole[0].rule.at_least == 80


def test_drift_waits_in_a_shift_that_rang_enough() -> None:
    make_share_rule(name="roughage", over="day")
    group = make_fed_group(3)
    for days in (0, 1, 2):
        feed_kg(group, "meal", 100, NOON - days * DAY)
    at = NOON + DAY
    for number in range(3):
        make_batch(happened_at=at - (20 + number) * HOUR)
    flag(at)
    rings = Notice.objects.filter(role="feed hand", closed_at=None)
    assert rings.count() == 3
    assert ring_for_drift(at) == {"drifting": 1}
    assert rings.count() == 3
    # In the next shift it has its turn, and the rest is bundled after it.
    Notice.objects.update(raised_at=at - DAY)
    ring_for_drift(at)
    assert rings.filter(cause="feed-shares:drift").exists()
    make_batch(happened_at=at - 30 * HOUR)
    make_batch(happened_at=at - 31 * HOUR)
    flag(at)
    rang = Notice.objects.filter(role="feed hand", raised_at__gte=at - HOUR)
    # The shares and one load; the other went into the bundle, which rings once a shift.
    assert rang.count() == 2


def test_a_year_that_is_missed_and_one_near_its_bound_drift() -> None:
    make_share_rule(name="roughage")
    group = make_fed_group()
    feed_kg(group, "meal", 240)
    feed_kg(group, "hay", 760)
    ((key, sentence, until),) = drifting(NOON + DAY)
    assert "near its bound of at least 75" in sentence
    assert key.startswith("share:")
    assert until is None
    make_figure("drift_within", "0.5")
    assert drifting(NOON + DAY) == []
    feed_kg(group, "meal", 100)
    ((_, sentence, _),) = drifting(NOON + DAY)
    assert "Roughage over the year is 69.0 %, at least 75 is asked" in sentence
    assert "at most 253 kg" not in sentence


def test_a_group_that_misses_its_hay_twice_in_three_days_drifts() -> None:
    make_share_rule(name="hay", kind="hay", of="forage dry matter", over="group")
    group = make_fed_group(3)
    feed_kg(group, "grass", 100, NOON)
    assert drifting(NOON + DAY) == []
    feed_kg(group, "grass", 100, NOON - 2 * DAY)
    ((_, sentence, _),) = drifting(NOON + DAY)
    assert sentence.startswith("Group 3: hay missed on 2 of the last 3 days")
    assert drifting(NOON) == []


def test_pages_of_week_and_year(inspector_client: Pages, nobody_client: Pages) -> None:
    make_share_rule(name="hay", kind="hay", of="forage dry matter", over="group")
    make_share_rule(name="roughage", at_least=Decimal(80))
    make_share_rule(name="local hay", kind="hay of the valley")
    group = make_fed_group(3)
    feed_kg(group, "grass", 100)
    feed_kg(group, "meal", 100)
    week = inspector_client.get("/feed/ration/week/?day=2026-06-03").content.decode()
    assert "Hay (estate): missed 1 of 1 times." in week
    found = inspector_client.get("/feed/ration/year/?year=2026").content.decode()
    assert "Roughage: 50.0" in found
    assert "missed" in found
    assert "hay of the valley of dry matter" in found
    for page in ("week", "year"):
        assert nobody_client.get(f"/feed/ration/{page}/").status_code == 403


@pytest.mark.parametrize("text", ["1989", "9999", "soon", "-1", "２０２６", "20266666666666"])
def test_no_year(vet_client: Pages, vet_api: Api, text: str) -> None:
    page = vet_client.get("/feed/ration/year/", {"year": text})
    assert page.status_code == 400
    assert "is no year" in page.content.decode()
    assert vet_api.get("/api/feed-shares/", year=text).status_code == 400


def test_api_of_the_year(inspector_api: Api) -> None:
    make_share_rule(name="roughage", at_least=Decimal(80))
    group = make_fed_group(3)
    feed_kg(group, "hay", 100)
    feed_kg(group, "meal", 100)
    told = inspector_api.get("/api/feed-shares/", year="2026").json()
    (share,) = told["shares"]
    assert (share["value"], share["keeps"]) == ("50.00", False)
    assert "add 600 kg hay" in share["mends"]


def test_statements_do_not_grow_with_days(django_assert_max_num_queries: Any) -> None:
    make_share_rule(name="roughage")
    for days in range(4):
        feed_kg(make_fed_group(), "grass", 100, NOON - days * DAY)
        feed_kg(make_fed_group(), "hay", 100, NOON - days * DAY)
    with django_assert_max_num_queries(8):
        assert len(year(FIRST, LAST).groups) == 8
