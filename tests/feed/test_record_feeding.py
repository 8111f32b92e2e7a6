"""Feed a load or a feed lot to a group, and what is refused."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from feed.models import Feeding
from feed.services.feedings import NO_SHARES, NOBODY_THERE, record_feeding, record_feedings
from feed.services.left import ONE_THING, STRUCK
from feed.window import hours_late
from tests.factories.feed import (
    make_batch,
    make_discard,
    make_fed_group,
    make_feed_lot,
    make_feeding,
)
from tests.factories.herd import (
    HOUR,
    NOON,
    make_animal,
    make_group,
    make_stamp,
    make_user,
    put_in_group,
)

pytestmark = pytest.mark.django_db


def refused(**fields: Any) -> dict[str, list[str]]:
    fields.setdefault("stamp", make_stamp(at=NOON + HOUR))
    fields.setdefault("kg", Decimal(1000))
    if "group" not in fields:
        fields["group"] = make_fed_group()
    before = Feeding.objects.count()
    with pytest.raises(ValidationError) as error:
        record_feeding(**fields)
    assert Feeding.objects.count() == before
    return error.value.message_dict


def test_feeding_takes_kilos_from_the_load() -> None:
    batch, group = make_batch(), make_fed_group()
    feeding = record_feeding(
        stamp=make_stamp(at=NOON + HOUR), batch=batch, group=group, kg=Decimal(6200)
    )
    assert (feeding.batch, feeding.group, feeding.weighed) == (batch, group, True)
    batch.refresh_from_db()
    assert batch.done_at is None
    assert type(batch).objects.with_left().get(pk=batch.pk).left_kg == Decimal(2800)


def test_last_feeding_ends_the_load_at_its_own_time() -> None:
    batch, group = make_batch(kg=Decimal(2000)), make_fed_group()
    for hours in (2, 1):
        stamp = make_stamp(at=NOON + hours * HOUR)
        record_feeding(stamp=stamp, batch=batch, group=group, kg=Decimal(1000))
    batch.refresh_from_db()
    assert batch.done_at == NOON + 2 * HOUR


def test_feeding_past_the_window_is_written_with_its_lateness() -> None:
    batch = make_batch()
    stamp = make_stamp(at=NOON + 13 * HOUR + timedelta(minutes=30))
    feeding = record_feeding(stamp=stamp, batch=batch, group=make_fed_group(), kg=Decimal(1000))
    assert hours_late(feeding.happened_at, batch.deadline) == pytest.approx(1.5)


def test_hay_is_fed_from_a_feed_lot() -> None:
    lot = make_feed_lot()
    feeding = record_feeding(
        stamp=make_stamp(), feed_lot=lot, group=make_fed_group(), kg=Decimal(1180)
    )
    assert (feeding.feed_lot, feeding.batch) == (lot, None)


def test_before_the_cut_is_refused() -> None:
    words = refused(batch=make_batch(happened_at=NOON + 2 * HOUR))
    assert "was only cut at Tue 2 Jun, 14:00" in words["happened_at"][0]


def test_before_a_lot_came_in_is_refused() -> None:
    words = refused(feed_lot=make_feed_lot(happened_at=NOON + 2 * HOUR))
    assert "was only brought in at" in words["happened_at"][0]


def test_more_than_is_left_is_refused() -> None:
    batch = make_batch(kg=Decimal(9000))
    make_feeding(batch, kg=Decimal(6200))
    make_discard(batch, kg=Decimal(800))
    words = refused(batch=batch, kg=Decimal("2000.1"))
    assert "has 2,000 kg left of 9,000 kg, and this says 2,000.1 kg" in words["kg"][0]


def test_all_that_is_left_is_taken() -> None:
    batch = make_batch(kg=Decimal(9000))
    make_feeding(batch, kg=Decimal(6200))
    stamp = make_stamp(at=NOON + HOUR)
    record_feeding(stamp=stamp, batch=batch, group=make_fed_group(), kg=Decimal(2800))
    batch.refresh_from_db()
    assert batch.done_at == NOON + HOUR


def test_discarded_load_is_refused() -> None:
    batch = make_batch(kg=Decimal(900))
    make_discard(batch, kg=Decimal(900))
    words = refused(batch=batch)
    assert "Nothing is left of load" in words["kg"][0]
    assert "900 kg discarded" in words["kg"][0]


def test_group_without_animals_then_is_refused() -> None:
    group = make_group()
    put_in_group(make_animal(), group, NOON + 5 * HOUR)
    words = refused(batch=make_batch(), group=group)
    assert words == {"group": [NOBODY_THERE.format(group=group, at="Tue 2 Jun, 13:00")]}


@pytest.mark.parametrize("kg", ["0", "-1"])
def test_no_weight_is_refused(kg: str) -> None:
    assert "kg" in refused(batch=make_batch(), kg=Decimal(kg))


def test_both_or_neither_thing_is_refused() -> None:
    both: dict[str, Any] = {"batch": make_batch(), "feed_lot": make_feed_lot()}
    for things, found in ((both, "both"), ({}, "neither")):
        with pytest.raises(ValidationError, match=ONE_THING.format(found=found)):
            record_feeding(stamp=make_stamp(), group=make_fed_group(), kg=Decimal(1), **things)


def test_struck_load_is_refused() -> None:
    batch = make_batch(struck_at=NOON, struck_by=make_user(), struck_reason="twice")
    assert refused(batch=batch) == {"batch": [STRUCK.format(thing=batch)]}


def test_one_act_feeds_several_groups() -> None:
    batch, groups = make_batch(), [make_fed_group(), make_fed_group()]
    fed = record_feedings(
        stamp=make_stamp(at=NOON + HOUR),
        batch=batch,
        shares=[(groups[0], Decimal(5000)), (groups[1], Decimal(4000))],
    )
    assert [feeding.group for feeding in fed] == groups
    assert len({feeding.uuid for feeding in fed}) == 2
    batch.refresh_from_db()
    assert batch.done_at == NOON + HOUR


def test_one_act_writes_all_groups_or_none() -> None:
    batch = make_batch()
    with pytest.raises(
        ValidationError, match="has 9,000 kg left of 9,000 kg, and this says 9,001 kg"
    ):
        record_feedings(
            stamp=make_stamp(at=NOON + HOUR),
            batch=batch,
            shares=[(make_fed_group(), Decimal(5000)), (make_fed_group(), Decimal(4001))],
        )
    assert not Feeding.objects.exists()


def test_one_act_without_any_group_is_refused() -> None:
    with pytest.raises(ValidationError, match=NO_SHARES):
        record_feedings(stamp=make_stamp(), batch=make_batch(), shares=[])
