"""T39 and the fields: free or not, nearest free ones with tonnes, cautions, pages and API."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from config.days import local_day
from config.entries import Stamp
from feed.models import Field, FieldWork, ForageBatch
from feed.services.batches import record_batch
from feed.services.fields import NO_DAYS, record_work
from feed.stands import km_between, stands
from tests.cast import Api, Pages, user_in
from tests.factories.feed import (
    make_batch,
    make_field,
    make_sample,
    make_wait_rule,
    make_walk,
    make_work,
)
from tests.factories.herd import DAY, HOUR

pytestmark = pytest.mark.django_db
VIENNA = ZoneInfo("Europe/Vienna")
CUT = datetime(2026, 5, 23, 5, 15, tzinfo=VIENNA)


def on_map(name: str, north: str, **fields: Any) -> Field:
    return make_field(name, latitude=Decimal(north), longitude=Decimal("10.00000"), **fields)


def t39() -> Field:
    """Slurry 12 Apr with 42 days and spray 2 May with 21: free on 24 May."""
    field = on_map("Mill Field", "47.00000")
    make_work(field, happened_at=datetime(2026, 4, 12, 9, tzinfo=VIENNA), waiting_days=42)
    make_work(
        field, what="spray", happened_at=datetime(2026, 5, 2, 9, tzinfo=VIENNA), waiting_days=21
    )
    far, near = on_map("Far Meadow", "47.05000"), on_map("Brook Piece", "47.00900")
    make_walk(near, 2400, happened_at=CUT - 2 * DAY)
    make_walk(far, 1800, happened_at=CUT - DAY)
    make_sample(16, field=near, happened_at=CUT - DAY)
    return field


def cut(field: Field, role: str = "feed hand", **fields: Any) -> ForageBatch:
    stamp = Stamp.now(user_in(role), CUT)
    return record_batch(stamp=stamp, field=field, kg=Decimal(9000), weighed=False, **fields)


def test_refused_with_the_nearest_free_fields_and_their_tonnes() -> None:
    field = t39()
    with pytest.raises(ValidationError) as refused:
        cut(field)
    words = " ".join(refused.value.messages)
    assert "not free to cut before Sun 24 May 2026" in words
    assert "slurry on Sun 12 Apr 2026" in words
    assert "nearest first: Brook Piece (8 ha, about 120 t, 1.0 km), Far Meadow" in words
    assert not ForageBatch.objects.exists()


def test_the_vets_reason_stays_on_the_load_for_life() -> None:
    field = t39()
    load = cut(field, "vet", early_reason="only the headland had slurry")
    assert load.early_reason == "only the headland had slurry"
    with pytest.raises(ValidationError, match="Only the vet"):
        cut(field, early_reason="the mower is there already")


def test_free_on_the_day_itself() -> None:
    field = t39()
    stamp = Stamp.now(user_in("feed hand"), CUT + DAY)
    load = record_batch(stamp=stamp, field=field, kg=Decimal(9000))
    assert load.early_reason == ""


def test_what_is_cut_since_the_walk_stands_there_no_more() -> None:
    field = make_field("Long Acre")
    at = datetime(2026, 5, 23, 12, tzinfo=UTC)
    make_walk(field, 2000, happened_at=at - DAY)
    make_sample(20, field=field, happened_at=at - DAY)
    make_batch(field, happened_at=at - HOUR, kg=Decimal(9000))
    (stand,) = stands(at, local_day(at))
    assert stand.standing_kg == Decimal(8 * 2000 * 5 - 9000)
    make_walk(field, 10, happened_at=at - HOUR / 2)
    (stand,) = stands(at, local_day(at))
    assert stand.standing_kg == Decimal(400)


def test_an_old_walk_says_nothing() -> None:
    field = make_field()
    now = timezone.now()
    make_walk(field, happened_at=now - 20 * DAY)
    make_sample(20, field=field, happened_at=now - DAY)
    (stand,) = stands(now, local_day(now))
    assert (stand.walk, stand.standing_kg) == (None, None)


def test_label_days_win_over_the_rule() -> None:
    make_wait_rule("slurry", 42)
    stamp = Stamp.now(user_in("feed hand"), datetime(2026, 4, 12, 9, tzinfo=VIENNA))
    by_rule = record_work(stamp=stamp, what="slurry", field=make_field())
    by_label = record_work(stamp=stamp.again(), what="slurry", field=make_field(), waiting_days=7)
    assert (by_rule.free_on, by_rule.from_label) == (date(2026, 5, 24), False)
    assert (by_label.free_on, by_label.from_label) == (date(2026, 4, 19), True)
    with pytest.raises(ValidationError, match=NO_DAYS.partition(":")[0]):
        record_work(stamp=stamp.again(), what="spray", field=make_field())
    assert FieldWork.objects.count() == 2


def test_days_of_caution_are_told_and_do_not_bind() -> None:
    make_wait_rule("fertiliser", 0, caution_days=21, caution="nitrate in drought, frost or cloud")
    field = make_field()
    # Local, so that days are taken off by the wall clock.
    now = timezone.localtime()
    make_work(field, what="fertiliser", waiting_days=0, happened_at=now - 12 * DAY)
    (stand,) = stands(now, local_day(now))
    assert stand.is_free
    assert stand.cautions == ("fertiliser 12 days ago: nitrate in drought, frost or cloud",)
    assert stands(now, local_day(now) + 9 * DAY)[0].cautions == ()


def test_statements_do_not_grow_with_the_fields(django_assert_max_num_queries: Any) -> None:
    now = timezone.now()
    for _ in range(6):
        make_walk(make_field(), happened_at=now - DAY)
    make_wait_rule("fertiliser", 0, caution_days=21, caution="nitrate")
    with django_assert_max_num_queries(9):
        assert len(stands(now, local_day(now))) == 6


def test_km_over_the_ground() -> None:
    # One minute of latitude is one nautical mile, 1.852 km, by its definition.
    one, other = on_map("A", "47.00000"), on_map("B", "47.01667")
    assert km_between(one, other) == pytest.approx(1.852, rel=0.002)
    assert km_between(one, make_field()) is None


def test_page_lists_free_and_waiting(client_of_reader: Pages) -> None:
    now = timezone.now()
    make_field("Ox Ground")
    make_work(make_field("Mill Field"), happened_at=now - DAY, waiting_days=9)
    page = client_of_reader.get("/feed/fields/").content.decode()
    assert "1 field free to cut" in page
    assert page.index("Ox Ground") < page.index("Must wait") < page.index("Mill Field")
    ahead = local_day(now) + 8 * DAY
    page = client_of_reader.get(f"/feed/fields/?day={ahead}").content.decode()
    assert page.index("Mill Field") < page.index("Ox Ground") or "Must wait" not in page
    assert client_of_reader.get("/feed/fields/?day=soon").status_code == 400
    assert client_of_reader.get("/feed/fields/?day=2019-01-01").status_code == 400


@pytest.fixture
def client_of_reader(inspector_client: Pages) -> Pages:
    return inspector_client


def test_page_of_a_field(client_of_reader: Pages) -> None:
    field = make_field("Mill Field")
    now = timezone.now()
    work = make_work(field, happened_at=now - DAY, waiting_days=9)
    make_walk(field, remark="docks by the gate")
    load = make_batch(field, happened_at=now - 40 * DAY, early_reason="headland only")
    page = client_of_reader.get(f"/feed/fields/{field.uuid}/").content.decode()
    assert f"Not free before {work.free_on:%a} {work.free_on.day}" in page
    assert "docks by the gate" in page
    assert f"Load {load.pk}" in page
    assert "headland only" in page
    assert client_of_reader.get(f"/feed/fields/{load.uuid}/").status_code == 404


def test_one_large_button_starts_the_cut(feed_hand_client: Pages) -> None:
    field = make_field("Ox Ground")
    make_batch(kg=Decimal(8400), happened_at=timezone.now() - DAY)
    page = feed_hand_client.get(f"/feed/cuts/new/?field={field.uuid}").content.decode()
    assert "Cut begins now, dry" in page
    assert 'name="kg" value="8400.0"' in page
    now = timezone.now().isoformat()
    values = {"field": str(field.uuid), "happened_at": now, "kg": "8400.0", "wet": "on"}
    assert feed_hand_client.send("/feed/cuts/new/", **values).status_code == 302
    load = ForageBatch.objects.get(field=field)
    assert (load.weighed, load.wet, load.kg) == (False, True, Decimal(8400))
    page = feed_hand_client.get(load.get_absolute_url()).content.decode()
    assert "about 8,400" in page.replace("\xa0", " ")


def test_weighed_under_its_number(feed_hand_client: Pages) -> None:
    load = make_batch(weighed=False, happened_at=timezone.now() - HOUR, wet=True)
    path = f"/feed/batches/{load.uuid}/weigh/"
    assert feed_hand_client.get(path).status_code == 200
    refused = feed_hand_client.send(path, kg="90000")
    assert refused.status_code == 200
    assert "Split it" in refused.content.decode()
    assert feed_hand_client.send(path, kg="9340", foreign_matter="stones").status_code == 302
    load.refresh_from_db()
    assert (load.kg, load.weighed, load.wet) == (Decimal(9340), True, True)
    assert load.foreign_matter == "stones"
    assert load.replaces is not None
    assert load.replaces.kg == Decimal(9000)


def test_not_weighed_by_others(milker_client: Pages) -> None:
    load = make_batch(weighed=False)
    assert milker_client.send(f"/feed/batches/{load.uuid}/weigh/", kg="9340").status_code == 403


def test_api_tells_the_fields_of_a_day() -> None:
    now = timezone.now()
    make_work(make_field("Mill Field"), happened_at=now - DAY, waiting_days=9)
    make_field("Ox Ground")
    api = Api(user_in("inspector"))
    told = api.get("/api/fields-free/").json()
    assert [(one["name"], one["free_on"] is None) for one in told["stands"]] == [
        ("Ox Ground", True),
        ("Mill Field", False),
    ]
    ahead = local_day(now) + timedelta(days=8)
    told = api.get(f"/api/fields-free/?day={ahead}").json()
    assert {one["free_on"] for one in told["stands"]} == {None}
    assert api.get("/api/fields-free/?day=soon").status_code == 400
    assert api.get("/api/fields-free/?day=2019-01-01").status_code == 400
