"""T36 on the page of a heap: hot before its time, what is left, where it goes, hay instead."""

from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from config.entries import Stamp
from feed.models import HeapCheck
from feed.models.feedings import Place
from feed.services.batches import record_batch
from feed.services.discards import OWN_WITNESS, WITNESS_MISSING, record_discard
from feed.services.heaps import MORE_STILL, record_heap_check
from feed.window import State
from tests.cast import Pages, user_in
from tests.factories.feed import (
    make_batch,
    make_fed_group,
    make_feed_lot,
    make_feeding,
    make_field,
    make_figure,
    make_window_rules,
)
from tests.factories.herd import HOUR

pytestmark = pytest.mark.django_db
VIENNA = ZoneInfo("Europe/Vienna")


def local(hour: int, minute: int = 0, day: int = 2, month: int = 6) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=VIENNA)


def stamp(at: datetime) -> Stamp:
    return Stamp.now(user_in("feed hand"), at)


def test_t36_hot_before_its_time() -> None:
    make_window_rules()
    load = record_batch(
        stamp=stamp(local(5, 20)), field=make_field(), kg=Decimal(9000), air_temperature=Decimal(26)
    )
    assert load.deadline == local(17, 20)
    make_feeding(load, kg=Decimal(6900), happened_at=local(6, 30))
    record_heap_check(stamp=stamp(local(12, 30)), batch=load, heap=Decimal(35), air=Decimal(26))
    load.refresh_from_db()
    assert load.deadline == load.heated_at == local(12, 30)
    assert load.state(local(12, 30), discarded=False) is State.PAST


def test_t38_wet_warm_load_in_the_clock_night() -> None:
    make_window_rules()
    load = record_batch(
        stamp=stamp(local(22, 0, 24, 10)),
        field=make_field(),
        kg=Decimal(9000),
        air_temperature=Decimal(26),
    )
    assert load.deadline is not None
    assert load.deadline.astimezone(VIENNA).strftime("%a %H:%M") == "Sun 09:00"
    wet = record_batch(
        stamp=stamp(local(22, 0, 24, 10)),
        field=make_field(),
        kg=Decimal(9000),
        air_temperature=Decimal(26),
        wet=True,
    )
    assert wet.deadline is not None
    assert wet.deadline.astimezone(VIENNA).strftime("%a %H:%M") == "Sun 06:00"


def test_page_says_discard_and_how_much_hay(feed_hand_client: Pages) -> None:
    now = timezone.now()
    load = make_batch(happened_at=now - 5 * HOUR, dry_matter=Decimal(17))
    make_feeding(load, kg=Decimal(6900), happened_at=now - 4 * HOUR)
    make_feed_lot(name="stack 4", dry_matter=Decimal(88))
    path = f"/feed/batches/{load.uuid}/heap/"
    page = feed_hand_client.get(path).content.decode()
    assert "8 °C above the air, 35 °C, or warm to the hand" in page
    at = timezone.localtime().strftime("%Y-%m-%dT%H:%M")
    values = {"batch": str(load.uuid), "happened_at": at, "heap": "35", "air": "26"}
    assert feed_hand_client.send(path, **values).status_code == 302
    page = feed_hand_client.get(load.get_absolute_url()).content.decode()
    assert "2,100 kg left. Heat beats the clock." in page
    # 2,100 kg at 17 % are 357 kg of dry matter, 406 kg of hay at 88 %.
    assert "406 kg of hay stack 4 hold as much dry matter (357 kg)" in page
    for place in Place.labels:
        assert "cow" not in str(place)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"heap": "200"}, "95"),
        ({"heap": "much"}, "not a number"),
        ({"heap": "20", "extends": "on"}, "reason"),
        ({"heap": "20", "still_kg": "99999"}, "By the book"),
        ({"heap": "20", "still_kg": "-5"}, "0"),
        ({"heap": "20", "happened_at": "2199-01-01T05:00"}, "has not come yet"),
    ],
)
def test_bad_readings_are_refused(
    feed_hand_client: Pages, values: dict[str, str], words: str
) -> None:
    load = make_batch(happened_at=timezone.now() - HOUR)
    at = timezone.localtime().strftime("%Y-%m-%dT%H:%M")
    path = f"/feed/batches/{load.uuid}/heap/"
    answer = feed_hand_client.send(path, **{"batch": str(load.uuid), "happened_at": at, **values})
    assert answer.status_code == 200
    assert words in answer.content.decode()
    assert not HeapCheck.objects.exists()
    assert MORE_STILL.startswith("By the book")


def test_not_by_others(milker_client: Pages) -> None:
    load = make_batch()
    assert milker_client.get(f"/feed/batches/{load.uuid}/heap/").status_code == 403


def test_witness_above_the_estates_weight() -> None:
    load = make_batch(happened_at=local(5))
    values = {"why": "past", "where_to": "manure heap"}
    make_figure("witness_above", 300)
    refused = WITNESS_MISSING.format(most="300")
    with pytest.raises(Exception, match=refused):
        record_discard(stamp=stamp(local(6)), batch=load, kg=Decimal(301), **values)
    record_discard(stamp=stamp(local(6)), batch=load, kg=Decimal(300), **values)
    own = user_in("feed hand").username
    with pytest.raises(Exception, match=OWN_WITNESS):
        record_discard(stamp=stamp(local(6)), batch=load, kg=Decimal(301), witness=own, **values)
    record_discard(stamp=stamp(local(6)), batch=load, kg=Decimal(301), witness="A. Other", **values)


def test_feeding_by_one_load_to_several_groups_keeps_the_cut_time() -> None:
    load = make_batch(happened_at=local(5))
    groups = [make_fed_group(), make_fed_group()]
    fed = [
        make_feeding(load, group, kg=Decimal(1000), happened_at=local(6 + place))
        for place, group in enumerate(groups)
    ]
    assert {feeding.batch.deadline for feeding in fed} == {load.deadline}
