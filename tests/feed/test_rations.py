"""The ration of a day: what was offered, left and eaten, and the shares (C26, C27)."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feed.ration import Offered, forage_to_meal, intake, refused_share, share, total
from feed.rations import Ration, rations
from tests.cast import Pages
from tests.factories.feed import (
    make_batch,
    make_fed_group,
    make_feed_lot,
    make_feeding,
    make_refusal,
    make_share_rule,
)
from tests.factories.herd import HOUR, NOON, make_animal, put_in_group

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


def a_day() -> Ration:
    """The worked example of the trade, with two cows in the group and one that came at noon."""
    group = make_fed_group(3)
    put_in_group(make_animal(), group)
    put_in_group(make_animal(), group, NOON)
    make_feeding(make_batch(dry_matter=Decimal(17)), group, kg=Decimal(5200))
    for kind, kg in (("hay", 1180), ("meal", 820)):
        lot = make_feed_lot(kind=kind, dry_matter=Decimal(88))
        make_feeding(group=group, feed_lot=lot, kg=Decimal(kg), happened_at=NOON)
    make_refusal(group, kg=Decimal(390), dry_matter=Decimal(32), happened_at=NOON + HOUR)
    (ration,) = rations(DAY_OF)
    return ration


@pytest.mark.django_db
def test_group_on_a_day() -> None:
    ration = a_day()
    assert (ration.offered_kg, ration.unmeasured) == (Decimal(2644), [])
    assert ration.refused_percent == pytest.approx(Decimal("4.72"), abs=Decimal("0.01"))
    # Two cows all day, one from 12:00 on the estate's clock.
    assert ration.cow_days == Decimal("2.5")
    assert ration.per_cow == pytest.approx(Decimal("1007.68"))


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
    make_refusal(group, happened_at=NOON)
    (ration,) = rations(DAY_OF)
    assert (ration.offered, ration.refused_percent) == ([], None)
    assert ration.unmeasured == [str(batch), "refusals"]


@pytest.mark.django_db
@pytest.mark.parametrize(("least", "keeps"), [(53, True), (55, False)])
def test_share_of_hay_by_the_rule_in_force(least: int, keeps: bool) -> None:
    make_share_rule(
        name="hay", kind="hay", of="forage dry matter", over="group", at_least=Decimal(least)
    )
    ((rule, percent, kept),) = a_day().shares
    assert (rule.name, round(percent, 1), kept) == ("hay", Decimal("54.0"), keeps)


@pytest.mark.django_db
def test_page_names_the_share_that_is_missed(inspector_client: Pages) -> None:
    make_share_rule(
        name="hay in the forage",
        kind="hay",
        of="forage dry matter",
        over="group",
        at_least=Decimal(60),
    )
    a_day()
    page = inspector_client.get("/feed/ration/?day=2026-06-02").content.decode()
    assert "Group 3: hay in the forage 54.0" in page
    assert "missed" in page


@pytest.mark.django_db
def test_page_of_an_empty_day_and_of_no_day(vet_client: Pages, nobody_client: Pages) -> None:
    assert "No feeding is written" in vet_client.get("/feed/ration/").content.decode()
    assert vet_client.get("/feed/ration/?day=soon").status_code == 400
    assert nobody_client.get("/feed/ration/").status_code == 403


@pytest.mark.django_db
def test_four_statements_however_many_groups(django_assert_num_queries: Any) -> None:
    for _ in range(3):
        make_feeding(make_batch())
    with django_assert_num_queries(4):
        assert len(rations(DAY_OF)) == 3
