"""What to cut for a day, and what was thrown away."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from config.days import local_day
from feed.models import FieldWalk
from feed.tomorrow import NO_DRY_MATTER, NO_TARGET, NO_WAGON, Plan, plan
from feed.waste import waste
from tests.cast import Api, Pages
from tests.factories.feed import (
    make_batch,
    make_discard,
    make_fed_group,
    make_feed_lot,
    make_feeding,
    make_field,
    make_figure,
    make_refusal,
    make_sample,
    make_target,
    make_work,
)
from tests.factories.herd import DAY, HOUR, NOON, make, make_animal, put_in_group

pytestmark = pytest.mark.django_db
TODAY = local_day(NOON)
EVENING = NOON + 7 * HOUR


def tomorrow() -> Plan:
    return plan(TODAY + DAY, EVENING)


@pytest.fixture
def ready() -> None:
    """Two groups of two and one cows, 7 and 6 kg from grass of 16 %, wagons of 1,000 kg."""
    group = make_fed_group(3)
    put_in_group(make_animal(), group)
    make_target(group, 70)
    make_target(make_fed_group(4), 60)
    make_sample(16, happened_at=NOON)
    make_figure("wagon", 1000)


def test_cut_is_what_they_need_and_the_last_wagon_is_not_full(ready: None) -> None:
    make_figure("cut_loss", 5)
    found = tomorrow()
    # (2 x 70 + 60) / 0.16 / 0.95 = 1,315.8 kg.
    assert round(found.needed_kg, 1) == Decimal("1315.8")
    assert (found.cut_kg, found.loads, found.why_not) == (1400, [700, 700], [])
    assert [share.wanted.cows for share in found.shares] == [2, 1]


def test_without_a_loss_none_is_added(ready: None) -> None:
    assert (tomorrow().needed_kg, tomorrow().loss_known) == (Decimal(1250), False)


def test_what_must_be_known_first_is_said() -> None:
    make_fed_group(3)
    assert tomorrow().why_not == [NO_TARGET, NO_DRY_MATTER.format(days=45)]
    make_target()
    make_sample(16, happened_at=NOON)
    found = tomorrow()
    assert (found.why_not, found.loads) == ([NO_WAGON], [])
    assert found.cut_kg == 100
    assert [group.number for group in found.without] == [3]


def test_grass_that_is_still_good_is_told_but_not_taken_off(ready: None) -> None:
    make_batch(happened_at=EVENING - HOUR, kg=Decimal(700), deadline=NOON + 25 * HOUR)
    make_batch(happened_at=EVENING - HOUR, kg=Decimal(900), deadline=NOON + 12 * HOUR)
    found = tomorrow()
    assert (found.cut_kg, found.lying_kg, found.less_kg) == (1300, 700, 600)


def test_a_later_target_counts_from_its_day(ready: None) -> None:
    group = make_fed_group(9)
    make_target(group, 10)
    make_target(group, 20, valid_from=TODAY + DAY)
    make_target(group, 30, valid_from=TODAY + 2 * DAY)
    assert tomorrow().shares[-1].wanted.target == 20


def test_fields_that_stand_too_long_come_first_and_waiting_ones_wait(ready: None) -> None:
    old, tall, short, wet = (make_field(name) for name in ("Old", "Tall", "Short", "Wet"))
    make_batch(old, happened_at=NOON - 30 * DAY, deadline=NOON)
    make_batch(short, happened_at=NOON - 5 * DAY, deadline=NOON)
    make(FieldWalk, field=tall, cover=4000, happened_at=NOON - DAY)
    make(FieldWalk, field=short, cover=3999, happened_at=NOON - 6 * DAY)
    make_work(wet, waiting_days=3)
    found = tomorrow()
    named = [one.stand.field.name for one in found.fields]
    assert [name for name in named if name in ("Tall", "Old", "Short")] == ["Tall", "Old", "Short"]
    assert [one.field.name for one in found.waiting] == ["Wet"]
    by_name = {one.stand.field.name: one for one in found.fields}
    # 4,000 kg x 8 ha at 16 % are 200,000 kg fresh; of Short 9,000 kg were cut since the walk.
    assert by_name["Tall"].stand.standing_kg == 200_000
    assert by_name["Short"].stand.standing_kg == 190_950
    assert [one.too_long for one in found.fields if one.stand.walk] == [True, False]
    (mown,) = found.mown
    assert (mown.stand.field.name, mown.kg, mown.hectares) == ("Tall", 1300, Decimal("0.052"))


def test_cover_that_is_too_much_is_a_figure_of_the_estate(ready: None) -> None:
    make(FieldWalk, field=make_field("Tall"), cover=3000, happened_at=NOON - DAY)
    assert not any(one.too_long for one in tomorrow().fields)
    make_figure("cover_most", 3000)
    assert any(one.too_long for one in tomorrow().fields)


def test_what_was_thrown_away_and_what_it_cost() -> None:
    batch = make_batch(dry_matter=Decimal(20), kg=Decimal(10_000))
    make_discard(batch, kg=Decimal(1000))
    make_discard(feed_lot=make_feed_lot(kind="hay"), kg=Decimal(100))
    make_discard(batch, kg=Decimal(1000), happened_at=NOON + 2 * DAY)
    make_refusal(kg=Decimal(30))
    assert waste(TODAY, TODAY).cost is None
    make_figure("grass_cost", 150)
    make_figure("discard_cost", 12)
    found = waste(TODAY, TODAY)
    # 200 kg of dry matter at 150 EUR a tonne, and 1 t taken off at 12 EUR; hay has no price.
    assert (found.kg, found.cost, found.unpriced) == (Decimal(1100), Decimal(42), 1)
    assert (found.percent_of_cut, found.refused_kg) == (Decimal(10), Decimal(30))
    assert found.missing == ["hay_cost", "meal_cost"]
    assert waste(TODAY, TODAY + 2 * DAY).kg == Decimal(2100)


def test_a_discard_without_dry_matter_has_no_cost() -> None:
    make_figure("grass_cost", 150)
    make_discard(make_batch())
    assert waste(TODAY, TODAY).unpriced == 1


def test_page_and_api_say_the_same(feed_hand_client: Pages, feed_hand_api: Api) -> None:
    now = timezone.now()
    group = make_fed_group(3)
    make_target(group, 70)
    make_figure("wagon", 1000)
    make_sample(16, happened_at=now - HOUR)
    make_discard(make_batch(happened_at=now - 5 * HOUR), happened_at=now - HOUR)
    page = feed_hand_client.get("/feed/tomorrow/").content.decode()
    assert "Cut 500" in page
    assert "500" in page
    told = feed_hand_api.get("/api/cut-plan/").json()
    assert (told["cut_kg"], told["loads_kg"]) == ("500.0", ["500.0"])
    assert told["thrown_away_kg"] == "500.0"


def test_api_without_anything_says_what_is_missing(inspector_api: Api) -> None:
    told = inspector_api.get("/api/cut-plan/").json()
    assert told["why_not"] == [NO_TARGET, NO_DRY_MATTER.format(days=45)]
    assert (told["cut_kg"], told["dry_matter"]) == (None, None)


@pytest.mark.parametrize("ahead", [-2, 20, 4000])
def test_days_behind_and_far_ahead_are_not_planned(
    vet_client: Pages, vet_api: Api, ahead: int
) -> None:
    day = local_day(timezone.now()) + timedelta(days=ahead)
    page = vet_client.get(f"/feed/tomorrow/?day={day}")
    assert page.status_code == 400
    assert "cannot be planned" in page.content.decode()
    assert vet_api.get("/api/cut-plan/", day=str(day)).status_code == 400
    assert vet_client.get("/feed/tomorrow/?day=soon").status_code == 400


def test_only_for_people_with_a_role(nobody_client: Pages, nobody_api: Api) -> None:
    assert nobody_client.get("/feed/tomorrow/").status_code == 403
    for path in ("rations", "feed-shares", "cut-plan"):
        assert nobody_api.get(f"/api/{path}/").status_code == 403


def test_statements_do_not_grow_with_groups_and_fields(
    ready: None, django_assert_max_num_queries: Any
) -> None:
    for _ in range(4):
        make_target()
        make_field()
        make_feeding(make_batch(dry_matter=Decimal(16)))
    with django_assert_max_num_queries(20):
        tomorrow()
