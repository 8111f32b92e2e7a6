"""The arithmetic of a ration: heads by the hour, rain, shares and what mends them. No database."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feed.ration import (
    Bounds,
    Mend,
    Offered,
    cows_fed,
    kilos_for,
    mean_dry_matter,
    mends,
    share_of,
    short,
)

HAY_HALF = Bounds(part="hay", whole="forage dry matter", at_least=Decimal(50))


def feed(kind: str, kg: float, percent: float, **fields: object) -> Offered:
    return Offered(kind, Decimal(str(kg)), Decimal(str(percent)), **fields)


def test_rain_is_told_as_kilos_to_add() -> None:
    found = short(Decimal(5200), Decimal(17), Decimal(13), Decimal(118))
    assert round(found.per_cow, 1) == Decimal("1.8")
    assert kilos_for(found.kg, Decimal(13)) == 1600
    # 236.4 kg of hay.
    assert kilos_for(found.kg, Decimal(88)) == 236


def test_drier_grass_leaves_nobody_short() -> None:
    assert short(Decimal(5200), Decimal(17), Decimal(18), Decimal(118)) is None
    assert short(Decimal(5200), Decimal(17), Decimal(17), Decimal(118)) is None


def test_broken_hay_share_is_mended_by_less_grass_or_more_hay() -> None:
    offered = [feed("grass", 6800, 17), feed("hay", 1180, 88), feed("meal", 820, 88)]
    assert round(share_of(offered, HAY_HALF), 1) == Decimal("47.3")
    assert mends(offered, HAY_HALF) == [
        Mend(act="at most", kind="grass", kg=Decimal(6108)),
        Mend(act="add", kind="hay", kg=Decimal(134)),
    ]


def test_kept_share_needs_no_mending() -> None:
    assert mends([feed("grass", 5200, 17), feed("hay", 1180, 88)], HAY_HALF) == []
    assert mends([], HAY_HALF) == []


def test_hay_that_was_not_offered_is_added_from_the_stack() -> None:
    offered = [feed("grass", 1000, 16)]
    assert mends(offered, HAY_HALF) == [Mend(act="at most", kind="grass", kg=Decimal(0))]
    assert Mend(act="add", kind="hay", kg=Decimal(182)) in mends(
        offered, HAY_HALF, {"hay": Decimal(88), "meal": Decimal(88)}
    )


def test_too_much_meal_is_mended_by_less_meal_or_more_forage() -> None:
    most = Bounds(part="meal", whole="dry matter", at_most=Decimal(25))
    offered = [feed("grass", 100, 20), feed("meal", 10, 88)]
    found = mends(offered, most)
    assert found == [
        Mend(act="at most", kind="meal", kg=Decimal(7)),
        Mend(act="add", kind="grass", kg=Decimal(32)),
    ]


def test_own_land_says_whose_feed_to_add() -> None:
    own = Bounds(part="forage of the estate", whole="forage dry matter", at_least=Decimal(50))
    offered = [feed("hay", 100, 80, own=True), feed("hay", 300, 80)]
    assert share_of(offered, own) == 25
    assert mends(offered, own) == [
        Mend(act="at most", kind="hay", kg=Decimal(100), whose="bought"),
        Mend(act="add", kind="hay", kg=Decimal(200), whose="own"),
    ]


def test_a_share_of_all_cannot_be_reached_by_adding() -> None:
    every = Bounds(part="hay", whole="forage dry matter", at_least=Decimal(100))
    found = mends([feed("hay", 10, 80), feed("grass", 10, 20)], every)
    assert found == [Mend(act="at most", kind="grass", kg=Decimal(0))]


def test_bounds_themselves_keep() -> None:
    rule = Bounds(part="hay", whole="dry matter", at_least=Decimal(50), at_most=Decimal(60))
    kept = [rule.keeps(Decimal(text)) for text in ("49.99", "50", "60", "60.01")]
    assert kept == [False, True, True, False]


def test_what_there_is_none_of_has_no_share() -> None:
    assert share_of([feed("meal", 10, 88)], HAY_HALF) is None
    with pytest.raises(ZeroDivisionError):
        mean_dry_matter([feed("meal", 10, 88)], ["grass"])


def test_heads_count_at_the_hour_of_each_feeding() -> None:
    # 100 kg to 10 cows, then 100 kg to 5: a cow that was there both times got 10 + 20 kg.
    offered = [feed("hay", 100, 100, cows=10), feed("hay", 100, 100, cows=5)]
    assert cows_fed(offered) == Decimal(200) / 30
    assert cows_fed([feed("hay", 100, 100, cows=0), feed("hay", 1, 100)]) is None


kilos = st.integers(1, 9000)
rations = st.lists(
    st.builds(
        feed,
        st.sampled_from(["grass", "hay", "meal"]),
        kilos,
        st.integers(8, 92),
        own=st.booleans(),
    ),
    min_size=1,
    max_size=8,
)
rules = st.builds(
    Bounds,
    part=st.sampled_from(["grass", "hay", "forage"]),
    whole=st.sampled_from(["dry matter", "forage and meal dry matter"]),
    at_least=st.integers(1, 99).map(Decimal),
)


@given(rations, rules)
def test_every_way_of_mending_keeps_the_share(offered: list[Offered], rule: Bounds) -> None:
    for way in mends(offered, rule, {"hay": Decimal(88), "grass": Decimal(16)}):
        if way.act == "add":
            percent = {"hay": Decimal(88), "grass": Decimal(16)}[way.kind]
            if any(one.kind == way.kind for one in offered):
                percent = mean_dry_matter(offered, [way.kind])
            after = [*offered, feed(way.kind, way.kg, percent)]
        else:
            percent = mean_dry_matter(offered, [way.kind])
            rest = [one for one in offered if one.kind != way.kind]
            after = [*rest, feed(way.kind, way.kg, percent)]
        got = share_of(after, rule)
        # The mean of feeds of one kind is rounded at 28 digits, so is the share.
        assert got is None or rule.keeps(got + Decimal("1e-20"))


@given(rations, rules)
def test_a_kilo_less_would_not_mend_it(offered: list[Offered], rule: Bounds) -> None:
    for way in mends(offered, rule):
        if way.act == "add" and way.kg > 1:
            percent = mean_dry_matter(offered, [way.kind])
            after = [*offered, feed(way.kind, way.kg - 1, percent)]
            assert share_of(after, rule) < rule.at_least + Decimal("1e-20")


def test_forage_to_meal_as_a_ratio() -> None:
    ratio = Bounds(part="forage", whole="meal dry matter", at_least=Decimal(1), ratio=True)
    offered = [feed("hay", 100, 80), feed("meal", 125, 80)]
    assert share_of(offered, ratio) == Decimal("0.8")
    assert mends(offered, ratio) == [
        Mend(act="at most", kind="meal", kg=Decimal(100)),
        Mend(act="add", kind="hay", kg=Decimal(25)),
    ]
    assert share_of([feed("hay", 100, 80)], ratio) is None
