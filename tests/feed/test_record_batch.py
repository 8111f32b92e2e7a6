"""Write a load: its deadline at once, and what is refused (C28, C30, T36, T39)."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from feed.models import ForageBatch
from feed.services.batches import record_batch
from feed.services.fields import FREE_ANYWAY, ONLY_VET
from feed.services.left import STRUCK
from tests.factories.feed import make_batch, make_field, make_window_rules, make_work
from tests.factories.herd import NOON, make_stamp, make_user

pytestmark = pytest.mark.django_db

SLURRY = datetime(2026, 4, 12, 8, tzinfo=UTC)
SPRAY = datetime(2026, 5, 2, 8, tzinfo=UTC)
DAY_BEFORE = datetime(2026, 5, 23, 3, 15, tzinfo=UTC)
FREE_DAY = datetime(2026, 5, 24, 3, 15, tzinfo=UTC)


def test_load_has_its_deadline_at_once() -> None:
    make_window_rules()
    batch = record_batch(
        stamp=make_stamp(),
        field=make_field(),
        kg=Decimal(9000),
        air_temperature=Decimal(26),
    )
    assert batch.deadline == NOON + timedelta(hours=12)
    assert batch.first_at == NOON + timedelta(hours=9)
    assert batch.heated_at is None
    assert batch.done_at is None


def test_load_without_air_temperature_takes_the_shortest_band() -> None:
    make_window_rules()
    batch = record_batch(stamp=make_stamp(), field=make_field(), kg=Decimal(9000), wet=True)
    assert batch.deadline == NOON + timedelta(hours=6)


def test_load_without_a_rule_is_written_without_a_deadline() -> None:
    batch = record_batch(stamp=make_stamp(), field=make_field(), kg=Decimal(9000))
    assert batch.deadline is None


@pytest.mark.parametrize("kg", ["499.9", "15000.1", "-1", "0"])
def test_weight_no_wagon_carries_is_refused(kg: str) -> None:
    with pytest.raises(ValidationError, match="A load weighs 500 to 15,000 kg"):
        record_batch(stamp=make_stamp(), field=make_field(), kg=Decimal(kg))
    assert not ForageBatch.objects.exists()


@pytest.mark.parametrize("dry_matter", ["7.9", "40.1"])
def test_dry_matter_no_fresh_grass_has_is_refused(dry_matter: str) -> None:
    with pytest.raises(ValidationError, match="Fresh grass holds 8 to 40 %"):
        record_batch(
            stamp=make_stamp(),
            field=make_field(),
            kg=Decimal(9000),
            dry_matter=Decimal(dry_matter),
        )


def test_cut_in_the_future_is_refused() -> None:
    with pytest.raises(ValidationError, match="has not come yet"):
        record_batch(
            stamp=make_stamp(at=datetime(2199, 1, 1, tzinfo=UTC)),
            field=make_field(),
            kg=Decimal(9000),
        )


def test_struck_field_is_refused() -> None:
    vet = make_user()
    field = make_field(struck_at=NOON, struck_by=vet, struck_reason="twice")
    with pytest.raises(ValidationError) as refused:
        record_batch(stamp=make_stamp(), field=field, kg=Decimal(9000))
    assert refused.value.message_dict == {"field": [STRUCK.format(thing=field)]}


# T39: slurry 12 Apr with 42 days, spray 2 May with 21 days.
def test_field_in_its_waiting_days_is_refused_with_the_day_and_others() -> None:
    field = make_field("Mill Field")
    make_work(field, happened_at=SLURRY, waiting_days=42)
    make_work(field, what="spray", happened_at=SPRAY, waiting_days=21)
    cut_lately = make_field("Long Acre")
    make_batch(cut_lately, happened_at=DAY_BEFORE - timedelta(days=9))
    make_field("Ox Ground", hectares=Decimal("12.50"))
    with pytest.raises(ValidationError) as refused:
        record_batch(stamp=make_stamp(at=DAY_BEFORE), field=field, kg=Decimal(9000))
    (words,) = refused.value.message_dict["field"]
    assert "not free to cut before Sun 24 May 2026" in words
    assert "slurry on Sun 12 Apr 2026, 42 days to wait" in words
    assert "spray" not in words
    assert "Ox Ground (12.5 ha), Long Acre (8 ha)" in words


def test_field_is_free_on_its_day() -> None:
    field = make_field()
    make_work(field, happened_at=SLURRY, waiting_days=42)
    batch = record_batch(stamp=make_stamp(at=FREE_DAY), field=field, kg=Decimal(9000))
    assert batch.early_reason == ""


def test_work_after_the_cut_does_not_bind_it() -> None:
    field = make_field()
    make_work(field, happened_at=FREE_DAY + timedelta(hours=8), waiting_days=42)
    assert record_batch(stamp=make_stamp(at=FREE_DAY), field=field, kg=Decimal(9000)).pk


def test_struck_work_binds_nobody() -> None:
    field = make_field()
    vet = make_user()
    make_work(field, happened_at=SLURRY, struck_at=SPRAY, struck_by=vet, struck_reason="twice")
    assert record_batch(stamp=make_stamp(at=DAY_BEFORE), field=field, kg=Decimal(9000)).pk


def test_when_no_field_is_free_the_next_ones_are_named() -> None:
    field = make_field("Mill Field")
    make_work(field, happened_at=SLURRY, waiting_days=42)
    other = make_field("Ox Ground")
    make_work(other, happened_at=SPRAY, waiting_days=30)
    with pytest.raises(ValidationError, match="Mill Field on Sun 24 May 2026, Ox Ground on Mon"):
        record_batch(stamp=make_stamp(at=DAY_BEFORE), field=field, kg=Decimal(9000))


def test_vet_may_cut_early_with_a_reason_that_stays() -> None:
    field = make_field()
    make_work(field, happened_at=SLURRY, waiting_days=42)
    batch = record_batch(
        stamp=make_stamp(at=DAY_BEFORE),
        field=field,
        kg=Decimal(9000),
        early_reason="slurry only on the far strip",
    )
    assert batch.early_reason == "slurry only on the far strip"


def test_feed_hand_may_not_cut_early() -> None:
    field = make_field()
    make_work(field, happened_at=SLURRY, waiting_days=42)
    with pytest.raises(ValidationError) as refused:
        record_batch(
            stamp=make_stamp(make_user("feed hand"), at=DAY_BEFORE),
            field=field,
            kg=Decimal(9000),
            early_reason="nothing else is ready",
        )
    words = ONLY_VET.format(field=field, free="Sun 24 May 2026")
    assert refused.value.message_dict == {"early_reason": [words]}


def test_reason_for_a_free_field_is_refused() -> None:
    field = make_field()
    with pytest.raises(ValidationError) as refused:
        record_batch(stamp=make_stamp(), field=field, kg=Decimal(9000), early_reason="just in case")
    words = FREE_ANYWAY.format(field=field, day="Tue 2 Jun 2026")
    assert refused.value.message_dict == {"early_reason": [words]}


def test_rule_of_a_later_day_does_not_count() -> None:
    make_window_rules(valid_from=date(2026, 6, 3))
    assert make_batch(deadline=None).deadline is None
    batch = record_batch(stamp=make_stamp(), field=make_field(), kg=Decimal(9000))
    assert batch.deadline is None
