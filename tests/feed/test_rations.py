"""The ration of a day: what was offered, left and eaten, and the shares (C26, C27)."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feed.models import AirHour
from feed.ration import Offered, forage_to_meal, intake, refused_share, share, total
from feed.rations import Ration, ration_day, rations
from herd.models import Calving, Recording
from tests.cast import Api, Pages
from tests.factories.feed import (
    make_air,
    make_batch,
    make_fed_group,
    make_feed_lot,
    make_feeding,
    make_figure,
    make_refusal,
    make_sample,
    make_share_rule,
)
from tests.factories.herd import (
    DAY,
    HOUR,
    LONG_AGO,
    NOON,
    make,
    make_animal,
    make_group,
    put_in_group,
)

DAY_OF = date(2026, 6, 2)

feeds = st.lists(
    st.builds(
        Offered,
        st.sampled_from(["grass", "hay", "meal"]),
        st.integers(1, 9000).map(Decimal),
        st.integers(8, 92).map(Decimal),
    )
)


@given(feeds)
def test_shares_of_all_kinds_make_the_whole(offered: list[Offered]) -> None:
    kinds = ["grass", "hay", "meal"]
    parts = sum((share(offered, [kind], kinds) for kind in kinds), Decimal(0))
    assert parts == pytest.approx(Decimal(100 if offered else 0))


@given(feeds, st.integers(1, 200))
def test_intake_is_what_was_offered_less_what_was_left(offered: list[Offered], cows: int) -> None:
    nothing_left = intake(offered, [], Decimal(cows))
    assert nothing_left * cows == pytest.approx(total(offered))
    assert intake(offered, [(Decimal(10), Decimal(50))], Decimal(cows)) < nothing_left


def test_without_meal_there_is_no_ratio_and_without_offer_no_refusals() -> None:
    assert forage_to_meal([Offered("hay", Decimal(1), Decimal(88))]) is None
    with pytest.raises(ZeroDivisionError):
        refused_share(Decimal(0), Decimal(1))


def a_day(at: Any = NOON) -> Ration:
    """The worked example of the trade, with two cows in the group and one that came at noon."""
    group = make_fed_group(3)
    put_in_group(make_animal(), group)
    put_in_group(make_animal(), group, NOON)
    batch = make_batch(dry_matter=Decimal(17), happened_at=at - HOUR)
    make_feeding(batch, group, kg=Decimal(5200), happened_at=at)
    for kind, kg in (("hay", 1180), ("meal", 820)):
        lot = make_feed_lot(kind=kind, dry_matter=Decimal(88))
        make_feeding(group=group, feed_lot=lot, kg=Decimal(kg), happened_at=at)
    make_refusal(group, kg=Decimal(390), dry_matter=Decimal(32), happened_at=NOON + HOUR)
    (ration,) = rations(DAY_OF)
    return ration


@pytest.mark.django_db
def test_group_on_a_day() -> None:
    ration = a_day()
    assert (ration.offered_kg, ration.unmeasured) == (Decimal(2644), [])
    assert ration.refused_percent == pytest.approx(Decimal("4.72"), abs=Decimal("0.01"))
    # Three cows at 12:00 on the estate's clock, the last of them came that moment.
    assert ration.cows == 3
    assert ration.per_cow == pytest.approx((Decimal(2644) - Decimal("124.8")) / 3)


@pytest.mark.django_db
def test_a_cow_that_came_after_the_feeding_is_not_counted() -> None:
    assert a_day(NOON - HOUR).cows == 2


@pytest.mark.django_db
def test_what_is_cleared_in_the_morning_counts_for_the_day_it_was_fed_on() -> None:
    group, batch = make_fed_group(3), make_batch(dry_matter=Decimal(17))
    make_feeding(batch, group, happened_at=NOON)
    make_refusal(group, kg=Decimal(50), happened_at=NOON + 17 * HOUR)
    make_feeding(batch, group, happened_at=NOON + 18 * HOUR)
    make_refusal(group, kg=Decimal(20), happened_at=NOON + 30 * HOUR)
    (first,), (second,) = rations(DAY_OF), rations(DAY_OF + DAY)
    # Without a dry matter of its own: with that of what was offered.
    assert (first.refused_percent, first.reckoned) == (Decimal(5), True)
    assert second.refused_percent == Decimal(2)


@pytest.mark.django_db
def test_leftovers_of_nothing_fed_lately_count_nowhere() -> None:
    group = make_fed_group(3)
    make_feeding(make_batch(dry_matter=Decimal(17)), group, happened_at=NOON)
    make_refusal(group, happened_at=NOON + 49 * HOUR)
    (ration,) = rations(DAY_OF)
    assert ration.refused == []


@pytest.mark.django_db
def test_other_days_and_struck_lines_do_not_count() -> None:
    ration = a_day()
    make_feeding(make_batch(), ration.group, happened_at=NOON + 24 * HOUR)
    (again,) = rations(DAY_OF)
    assert again.offered_kg == ration.offered_kg
    assert rations(date(2026, 6, 1)) == []


@pytest.mark.django_db
def test_what_was_not_measured_is_named_and_not_invented() -> None:
    group, batch = make_fed_group(3), make_batch()
    make_feeding(batch, group)
    make_refusal(group, happened_at=NOON + HOUR)
    (ration,) = rations(DAY_OF)
    assert (ration.offered, ration.refused_percent) == ([], None)
    assert ration.unmeasured == [str(batch), "refusals"]


@pytest.mark.django_db
def test_dry_matter_of_the_last_one_is_taken_with_its_age() -> None:
    group = make_fed_group(3)
    make_sample(16, happened_at=NOON - 20 * HOUR)
    make_feeding(make_batch(), group)
    (ration,) = rations(DAY_OF)
    assert ration.offered_kg == Decimal(160)
    (words,) = ration.assumed
    assert "16.0 %, taken from the last one, 20\u00a0h older" in words


@pytest.mark.django_db
@pytest.mark.parametrize(("least", "keeps"), [(53, True), (55, False)])
def test_share_of_hay_by_the_rule_in_force(least: int, keeps: bool) -> None:
    hay_rule(at_least=Decimal(least))
    (kept,) = a_day().shares
    assert (kept.rule.name, kept.shown, kept.keeps) == ("hay in the forage", "54.0", keeps)
    assert bool(kept.mends) is not keeps


def hay_rule(**fields: Any) -> None:
    fields = {"kind": "hay", "of": "forage dry matter", "over": "group", **fields}
    make_share_rule(name="hay in the forage", **fields)


@pytest.mark.django_db
def test_rule_for_a_day_counts_all_groups_together() -> None:
    hay_rule(over="day", at_least=Decimal(60))
    a_day()
    (kept,) = ration_day(DAY_OF).shares
    assert (kept.shown, kept.keeps) == ("54.0", False)


@pytest.mark.django_db
def test_rain_in_the_grass_is_told_in_one_line() -> None:
    group = make_fed_group(3)
    for _ in range(117):
        put_in_group(make_animal(), group)
    dry = make_batch(dry_matter=Decimal(17), happened_at=NOON - DAY)
    make_feeding(dry, group, happened_at=NOON - DAY)
    make_feeding(group=group, feed_lot=make_feed_lot(kind="hay"), happened_at=NOON - DAY)
    wet = make_batch()
    make_feeding(wet, group, kg=Decimal(5200))
    assert rations(DAY_OF)[0].rain is None
    make_sample(13, batch=wet)
    (ration,) = rations(DAY_OF)
    assert ration.rain_words == "-1.8 kg DM a cow: add 1,600 kg grass, or 236 kg hay"
    make_figure("short_above", "1.8")
    assert rations(DAY_OF)[0].rain is None


@pytest.mark.django_db
def test_expected_intake_stands_beside_what_was_eaten() -> None:
    group = make_fed_group(3)
    cow = make_animal()
    put_in_group(cow, group)
    make(Recording, animal=cow, milk_kg=20, fat="3.8", session="M", happened_at=NOON - 3 * DAY)
    make(Recording, animal=cow, milk_kg=15, fat="3.8", session="E", happened_at=NOON - 3 * DAY)
    make(Calving, dam=cow, happened_at=NOON - 84 * DAY)
    make_feeding(make_batch(dry_matter=Decimal(17)), group)
    assert rations(DAY_OF)[0].appetite.missing
    make_figure("body_weight", 650)
    make_figure("grass_fibre", 35)
    appetite = rations(DAY_OF)[0].appetite
    assert appetite.n == 1
    told = {source.partition(" ")[0]: round(kg, 2) for source, kg in appetite.expected}
    # 23.85, 24.00, and 1.2 x 650 / 35.
    assert told == {"NRC": 23.85, "Korean": 24.0, "fill": 22.29}


@pytest.mark.django_db
def test_fibre_and_water_beside_what_was_eaten() -> None:
    group, cow = make_group(3), make_animal()
    put_in_group(cow, group, LONG_AGO)
    make(Recording, animal=cow, milk_kg=35, fat="3.8", session="", happened_at=NOON - 3 * DAY)
    for name, value in (("body_weight", 650), ("grass_fibre", 40), ("sodium_fed", 40)):
        make_figure(name, value)
    make_feeding(make_batch(dry_matter=Decimal(20)), group, kg=Decimal(60), happened_at=NOON)
    meal = make_feed_lot(kind="meal", dry_matter=Decimal(88), fibre=Decimal(10))
    make_feeding(feed_lot=meal, group=group, kg=Decimal(100), happened_at=NOON)
    (ration,) = rations(DAY_OF)
    # 12 kg of grass with 40 % and 88 kg of meal with 10 %: 13.6 %, 4.8 of it from forage; the
    # least is 25 % and twice what forage is below 19 (NRC 2001, from memory).
    assert ration.appetite is not None
    assert ration.appetite.cow is not None
    assert ration.appetite.cow.fibre == pytest.approx(13.6)
    assert ration.appetite.least_fibre == pytest.approx(25 + 2 * (19 - 4.8))
    assert ration.appetite.short_of_fibre
    # Without the air of the day nobody can say how much water.
    assert ration.water_litres is None
    make_air(DAY_OF, highest=26)
    coldest = float(min(AirHour.objects.values_list("celsius", flat=True)))
    (ration,) = rations(DAY_OF)
    by_hand = 15.99 + 1.58 * 100 + 0.90 * 35 + 0.05 * 40 + 1.20 * coldest
    assert ration.water_litres == pytest.approx(by_hand)


@pytest.mark.django_db
def test_page_says_what_mends_a_missed_share(inspector_client: Pages) -> None:
    hay_rule(at_least=Decimal(60))
    a_day()
    page = inspector_client.get("/feed/ration/?day=2026-06-02").content.decode()
    assert "Group 3: hay in the forage 54.0" in page
    # 1,038.4 kg of hay may stand beside 692.27 kg of grass: 4,072 kg, or 327 kg more hay.
    assert "at most 4,072 kg grass, or add 327 kg hay" in page
    assert "missed" in page


@pytest.mark.django_db
def test_a_share_that_many_groups_miss_is_told_in_one_line(inspector_client: Pages) -> None:
    hay_rule(at_least=Decimal(60))
    for number in range(1, 5):
        make_feeding(make_batch(dry_matter=Decimal(17)), make_fed_group(number))
    page = inspector_client.get("/feed/ration/?day=2026-06-02").content.decode()
    assert "Hay in the forage is missed in 4 groups: 1, 2, 3, 4" in page
    assert "at most 0 kg grass" in page


@pytest.mark.django_db
def test_api_gives_the_same(inspector_api: Api) -> None:
    hay_rule(at_least=Decimal(60))
    a_day()
    told = inspector_api.get("/api/rations/", day="2026-06-02").json()
    (ration,) = told["rations"]
    assert (ration["offered_kg"], ration["cows"]) == ("2644.0", "3.00")
    assert ration["shares"][0]["mends"] == "at most 4,072 kg grass, or add 327 kg hay"
    assert inspector_api.get("/api/rations/", day="soon").status_code == 400
    assert inspector_api.get("/api/rations/", day="0001-01-01").status_code == 400


@pytest.mark.django_db
def test_page_of_an_empty_day_and_of_no_day(vet_client: Pages, nobody_client: Pages) -> None:
    assert "No feeding is written" in vet_client.get("/feed/ration/").content.decode()
    assert vet_client.get("/feed/ration/?day=soon").status_code == 400
    assert nobody_client.get("/feed/ration/").status_code == 403


@pytest.mark.django_db
def test_statements_do_not_grow_with_the_groups(django_assert_max_num_queries: Any) -> None:
    for _ in range(3):
        make_feeding(make_batch())
    with django_assert_max_num_queries(14):
        assert len(rations(DAY_OF)) == 3
