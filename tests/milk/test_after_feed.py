"""The milk of those who ate a load, beside the same groups before: sides, means, n, and words."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feed.heads import Heads
from feed.services.feedings import strike_feeding
from herd.models import Group
from milk.after_feed import FROM, UNTIL, Reach, after_day, after_field, after_load, side_of
from milk.clotting import TO_CLOT, Clot, clots_of
from milk.reference import load_reference
from tests.cast import Api, Pages
from tests.factories.feed import make_batch, make_fed_group, make_feeding
from tests.factories.herd import DAY, HOUR, NOON, make_animal, make_stamp, put_in_group
from tests.factories.milk import fill, make_lot_test, make_milking, make_tank, make_vat

FED = NOON
# Nothing has this number; the same in every process, so that the cases have the same names.
NOBODY = UUID(int=404)
REACH = Reach()


@pytest.mark.parametrize(
    ("hours", "side"),
    [(-48.5, ""), (-48, "before"), (-0.1, "before"), (0, ""), (11.9, ""), (12, "after"),
     (60, "after"), (60.1, "")],
)  # fmt: skip
def test_side_of_a_milking(hours: float, side: str) -> None:
    assert side_of(FED + timedelta(hours=hours), [FED], REACH) == side


def test_milk_after_one_feeding_is_not_before_the_next() -> None:
    assert side_of(FED + 20 * HOUR, [FED, FED + 24 * HOUR], REACH) == "after"
    assert side_of(FED + 6 * HOUR, [FED, FED + 24 * HOUR], REACH) == ""


moments = st.integers(0, 400).map(lambda half: NOON + half * HOUR / 2)


@given(moments, st.lists(moments, min_size=1, max_size=6).map(sorted))
def test_side_is_as_slow_and_plain_counting_says(at: datetime, fed: list[datetime]) -> None:
    if any(one + FROM <= at <= one + UNTIL for one in fed):
        expected = "after"
    elif any(one <= at < one + FROM for one in fed):
        expected = ""
    else:
        expected = "before" if any(one - REACH.before <= at < one for one in fed) else ""
    assert side_of(at, fed, REACH) == expected


pytest_db = pytest.mark.django_db


@pytest.fixture
def story(db: None) -> Any:
    """A load fed at NOON to a group of two cows: 20 kg a milking before, 30 kg after."""
    group = make_fed_group(3)
    put_in_group(make_animal(), group)
    batch = make_batch(happened_at=FED - HOUR)
    make_feeding(batch, group, happened_at=FED, kg=Decimal(800))
    lots = {}
    for hours, kg in ((-20, 20), (-8, 20), (4, 99), (16, 30), (28, 30), (70, 99)):
        milking = make_milking(
            at=FED + hours * HOUR, group=group, kg=kg, tank=make_tank(), minutes=30
        )
        lots[hours] = milking.parts.get().lot
    return batch, group, lots


def values(found: Any) -> dict[str, tuple[Any, int, Any, int]]:
    return {
        line.what: (line.before.value, line.before.n, line.after.value, line.after.n)
        for line in found.lines
    }


def test_kilos_a_cow_and_milking(story: Any) -> None:
    found = after_load(story[0].uuid, FED + 60 * HOUR)
    assert values(found)["milk a cow and milking"] == (10.0, 2, 15.0, 2)
    assert found.ended
    assert not after_load(story[0].uuid, FED + 59 * HOUR).ended
    assert [group.number for group in found.groups] == [3]


def test_contents_are_means_of_the_lots_by_kilos_and_spores_geometric(story: Any) -> None:
    batch, _, lots = story
    make_lot_test(lot=lots[-20], what="fat", value="4.00")
    make_lot_test(lot=lots[16], what="fat", value="4.10")
    make_lot_test(lot=lots[28], what="fat", value="4.20")
    make_lot_test(lot=lots[4], what="fat", value="9.00")
    make_lot_test(lot=lots[16], what="spores", value=100)
    make_lot_test(lot=lots[28], what="spores", value=400)
    told = values(after_load(batch.uuid, NOON))
    assert told["fat"] == (4.0, 1, pytest.approx(4.15), 2)
    assert told["spores"] == (None, 0, pytest.approx(200.0), 2)
    assert told["protein"] == (None, 0, None, 0)


def test_a_lot_with_other_milk_says_how_much_of_it_is_theirs(story: Any) -> None:
    batch, _, lots = story
    make_milking(at=FED + 16.2 * HOUR, tank=lots[16].tank, kg=90, minutes=10)
    found = after_load(batch.uuid, NOON)
    assert found.after.share == pytest.approx(60 / 150 * 100)
    assert found.before.share == pytest.approx(100)


def test_slow_vats_are_slow_beside_those_before(story: Any) -> None:
    batch, _, lots = story
    load_reference(make_stamp())
    began = FED + 18 * HOUR
    for number in range(6):
        at = began - DAY - number * HOUR
        make_vat(at=at, set_at=at, cut_at=at + timedelta(minutes=12))
    vat = make_vat(at=began, set_at=began, cut_at=began + timedelta(minutes=16))
    fill(vat, tank=lots[16].tank, kg=20)
    told = values(after_load(batch.uuid, NOON))
    assert told["rennet to cut"] == (None, 0, 16.0, 1)
    assert told["slow vats"] == (None, 0, 1, 1)
    assert clots_of([vat])[vat.pk] == Clot(16.0, 12.0, 6, is_slow=True)


@pytest_db
def test_a_vat_without_others_before_it_is_neither_slow_nor_not() -> None:
    load_reference(make_stamp())
    vat = make_vat(at=NOON, set_at=NOON, cut_at=NOON + timedelta(minutes=40))
    assert clots_of([vat])[vat.pk].is_slow is None
    assert clots_of([make_vat(at=NOON)]) == {}


@pytest_db
def test_without_a_row_nothing_is_called_slow_and_clots_are_not_beside_cuts() -> None:
    for number in range(6):
        at = NOON - (number + 1) * HOUR
        make_vat(at=at, set_at=at, cut_at=at + timedelta(minutes=20))
    asked = make_vat(at=NOON, set_at=NOON, clot_at=NOON + timedelta(minutes=60))
    assert clots_of([asked])[asked.pk] == Clot(60.0, None, 0, None, TO_CLOT)
    load_reference(make_stamp())
    assert clots_of([asked])[asked.pk] == Clot(60.0, None, 0, None, TO_CLOT)


def test_grass_of_a_field_and_of_a_day(story: Any) -> None:
    batch, _, _ = story
    day = date(2026, 6, 2)
    by_load = values(after_load(batch.uuid, NOON))
    assert values(after_field(batch.field.uuid, day, day, NOON)) == by_load
    assert values(after_day(day, NOON)) == by_load
    assert after_field(batch.field.uuid, day + DAY, day + DAY, NOON).feedings == []
    assert after_day(day - DAY, NOON).feedings == []


def test_struck_feedings_do_not_count(story: Any, vet: Any) -> None:
    batch, group, _ = story
    other = make_fed_group(4)
    feeding = make_feeding(batch, other, happened_at=FED)
    assert len(after_load(batch.uuid, NOON).groups) == 2
    strike_feeding(feeding, by=vet, at=NOON, reason="quantity", words="")
    assert after_load(batch.uuid, NOON).groups == [group]


@pytest_db
def test_heads_by_the_hour() -> None:
    group = make_fed_group(3)
    cow = make_animal()
    put_in_group(cow, group, NOON)
    put_in_group(cow, make_fed_group(4), NOON + 2 * HOUR)
    heads = Heads([group.pk], NOON - DAY, NOON + DAY)
    told = [heads.at(group.pk, NOON + hours * HOUR) for hours in (-0.1, 0, 1.9, 2)]
    assert told == [1, 2, 2, 1]
    assert heads.at(Group(pk=0).pk, NOON) == 0


def test_statements_do_not_grow_with_the_feedings(
    story: Any, django_assert_max_num_queries: Any
) -> None:
    batch, group, _ = story
    for hours in (1, 2, 3):
        make_feeding(batch, group, happened_at=FED + hours * HOUR)
    with django_assert_max_num_queries(17):
        after_load(batch.uuid, NOON)


def test_page_says_more_and_that_it_is_an_association(story: Any, feed_hand_client: Pages) -> None:
    page = feed_hand_client.get(f"/milk/after-feed/load/{story[0].uuid}/").content.decode()
    assert "Milk a cow and milking: 15.00 kg, 5.00 more (milkings: 2 after, 2 before)." in page
    assert "an association, not a cause" in page
    assert "+5.00" in page


def test_api_gives_the_same_with_its_n(story: Any, inspector_api: Api) -> None:
    batch, _, _ = story
    told = inspector_api.get(f"/api/after-feed/load/{batch.uuid}/").json()
    assert told["lines"][0]["after"] == {"value": 15.0, "n": 2}
    assert told["lines"][0]["difference"] == 5.0
    assert "not a cause" in told["caution"]
    assert inspector_api.get("/api/after-feed/day/2026-06-02/").json()["groups"] == [3]


@pytest_db
@pytest.mark.parametrize(
    ("address", "status"),
    [
        (f"load/{NOBODY}/", 404),
        ("load/12/", 404),
        ("wheel/2026-06-02/", 404),
        ("day/soon/", 400),
        ("day/2026-02-30/", 400),
        (f"field/{NOBODY}/?from=2026-06-03&to=2026-06-02", 400),
        (f"field/{NOBODY}/?from=2020-01-01&to=2026-06-02", 400),
        (f"field/{NOBODY}/?from=x", 400),
        (f"field/{NOBODY}/", 404),
    ],
)
def test_wrong_addresses(vet_client: Pages, vet_api: Api, address: str, status: int) -> None:
    assert vet_client.get(f"/milk/after-feed/{address}").status_code == status
    answer = vet_api.client.get(f"/api/after-feed/{address}")
    assert answer.status_code == status
    assert answer.headers["Content-Type"] == "application/problem+json"


@pytest_db
def test_only_for_people_with_a_role(nobody_client: Pages, nobody_api: Api) -> None:
    assert nobody_client.get("/milk/after-feed/day/2026-06-02/").status_code == 403
    assert nobody_api.get("/api/after-feed/day/2026-06-02/").status_code == 403


def test_a_day_without_grass_says_so(vet_client: Pages) -> None:
    page = vet_client.get("/milk/after-feed/?day=2026-06-02", follow=True).content.decode()
    assert "Nothing of it is written as fed." in page
