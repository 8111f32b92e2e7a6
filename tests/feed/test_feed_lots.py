"""Hay and meal: lots with where they came from, corrected under their number; refusals."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from config import entries
from feed.models import FeedLot, Refusal
from feed.services.feedings import record_refusal
from feed.services.lots import correct_feed_lot
from herd.models import Group
from tests.factories.feed import make_fed_group, make_feed_lot, make_feeding, make_field
from tests.factories.herd import DAY, HOUR, NOON, make_group, make_holding, make_stamp

pytestmark = pytest.mark.django_db


def test_lot_comes_from_a_supplier_or_a_field() -> None:
    for source in ({"supplier": make_holding()}, {"field": make_field()}):
        lot = entries.record(
            FeedLot, stamp=make_stamp(), kind="meal", name="m", kg=Decimal(5000), **source
        )
        assert lot.pk


def test_lot_from_nowhere_is_refused() -> None:
    with pytest.raises(ValidationError, match="Name the supplier or the field"):
        entries.record(FeedLot, stamp=make_stamp(), kind="hay", name="h", kg=Decimal(5000))


def test_corrected_lot_keeps_number_and_feedings() -> None:
    lot = make_feed_lot()
    make_feeding(feed_lot=lot, kg=Decimal(1000))
    corrected = correct_feed_lot(
        lot,
        stamp=make_stamp(at=lot.happened_at),
        reason="quantity",
        kg=Decimal(18_000),
        dry_matter=Decimal(86),
    )
    assert (corrected.pk, corrected.kg) == (lot.pk, Decimal(18_000))
    assert FeedLot.objects.with_left().get(pk=lot.pk).left_kg == Decimal(17_000)


@pytest.mark.parametrize(("kg", "moved", "field"), [(999, 0, "kg"), (20_000, 1, "happened_at")])
def test_wording_that_feedings_speak_against_is_refused(kg: int, moved: int, field: str) -> None:
    lot = make_feed_lot(happened_at=NOON)
    make_feeding(feed_lot=lot, kg=Decimal(1000))
    with pytest.raises(ValidationError) as error:
        correct_feed_lot(
            lot, stamp=make_stamp(at=NOON + moved * DAY), reason="quantity", kg=Decimal(kg)
        )
    assert field in error.value.message_dict


def test_refusal_of_a_group() -> None:
    refusal = record_refusal(
        stamp=make_stamp(), group=make_fed_group(), kg=Decimal(390), dry_matter=Decimal(32)
    )
    assert (refusal.state, refusal.where_to) == ("fresh", "")


# (fed, hours before, left): what was given within two days, and a wagon when nothing is written.
@pytest.mark.parametrize(("fed", "hours", "left"), [("400", 20, "400"), ("400", 47, "400")])
def test_a_group_may_leave_all_it_was_given(fed: str, hours: int, left: str) -> None:
    group = given(fed, hours)
    record_refusal(stamp=make_stamp(at=NOON), group=group, kg=Decimal(left))
    assert Refusal.objects.get().kg == Decimal(left)


@pytest.mark.parametrize(
    ("fed", "hours", "left"),
    [("400", 20, "400.1"), ("400", 48, "15000.1"), ("", 0, "15000.1")],
)
def test_no_group_leaves_more_than_it_was_given(fed: str, hours: int, left: str) -> None:
    group = given(fed, hours)
    with pytest.raises(ValidationError, match="it cannot have left") as error:
        record_refusal(stamp=make_stamp(at=NOON), group=group, kg=Decimal(left))
    assert list(error.value.message_dict) == ["kg"]
    assert not Refusal.objects.exists()


def given(kg: str, hours: int) -> Group:
    """A group that got so much hay so many hours before noon; "" for none."""
    group = make_fed_group()
    if kg:
        lot = make_feed_lot()
        make_feeding(None, group, feed_lot=lot, kg=Decimal(kg), happened_at=NOON - hours * HOUR)
    return group


def test_refusal_of_a_group_without_animals_is_refused() -> None:
    with pytest.raises(ValidationError, match="No animal stood in"):
        record_refusal(stamp=make_stamp(), group=make_group(), kg=Decimal(390))
    assert not Refusal.objects.exists()
