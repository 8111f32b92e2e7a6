"""Start a cut: which field is free, then one form (T39)."""

from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from config.days import local_day
from feed.models import ForageBatch
from tests.cast import Pages
from tests.factories.feed import make_batch, make_feeding, make_field, make_window_rules, make_work
from tests.factories.herd import DAY, HOUR

pytestmark = pytest.mark.django_db
PATH = "/feed/cuts/new/"


def form(**fields: Any) -> dict[str, Any]:
    now = timezone.localtime().strftime("%Y-%m-%dT%H:%M")
    return {"happened_at": now, "kg": "9000", "air_temperature": "24,5", **fields}


def test_free_fields_are_offered_longest_uncut_first(feed_hand_client: Pages) -> None:
    now = timezone.now()
    cut, never, waiting = make_field("Long Acre"), make_field("Ox Ground"), make_field("Mill Field")
    make_batch(cut, happened_at=now - 20 * DAY)
    make_work(waiting, happened_at=now - 2 * DAY, waiting_days=9)
    page = feed_hand_client.get(PATH).content.decode()
    assert page.index("Ox Ground") < page.index("Long Acre") < page.index("Not yet")
    free = local_day(now - 2 * DAY + 9 * DAY)
    assert f"free {free:%a} {free.day} {free:%b}" in page
    assert f"?field={never.uuid}" in page
    assert f"?field={waiting.uuid}" not in page


def test_cut_is_written_about_so_heavy(feed_hand_client: Pages) -> None:
    make_window_rules()
    field = make_field()
    page = feed_hand_client.get(f"{PATH}?field={field.uuid}").content.decode()
    assert f'<option value="{field.uuid}" selected>' in page
    answer = feed_hand_client.send(PATH, field=str(field.uuid), **form())
    batch = ForageBatch.objects.get()
    assert answer.url == f"/feed/batches/{batch.uuid}/"
    assert (batch.field, batch.weighed) == (field, False)
    assert batch.air_temperature == Decimal("24.5")
    assert batch.deadline == batch.happened_at + 12 * HOUR


def test_sent_twice_is_one_load(feed_hand_client: Pages) -> None:
    values = form(field=str(make_field().uuid))
    for _ in range(2):
        answer = feed_hand_client.send(PATH, once="cut-1", **values)
        assert answer.status_code == 302
    assert ForageBatch.objects.count() == 1


def test_field_that_waits_is_refused_with_others(feed_hand_client: Pages) -> None:
    field = make_field("Mill Field")
    make_field("Ox Ground")
    make_work(field, happened_at=timezone.now() - DAY, waiting_days=21)
    answer = feed_hand_client.send(PATH, field=str(field.uuid), **form())
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "is not free to cut before" in page
    assert "Ox Ground (8 ha)" in page
    assert not ForageBatch.objects.exists()


def test_rest_of_an_older_load_is_asked_for(feed_hand_client: Pages) -> None:
    batch = make_batch(happened_at=timezone.now() - 4 * HOUR)
    make_feeding(batch, kg=Decimal(6200))
    make_batch(happened_at=timezone.now() - HOUR)
    page = " ".join(feed_hand_client.get(PATH).content.decode().split())
    assert f"of load {batch.pk}: where?" in page


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("kg", "much", "is not a number we can trust"),
        ("kg", "9.000,5", "is not a number we can trust"),
        ("happened_at", "soon", "is no date and time"),
        ("happened_at", "2199-01-01T05:00", "has not come yet"),
        ("field", "", "required"),
        ("air_temperature", "60", "Expected at most 50"),
    ],
)
def test_bad_input_is_shown_at_its_field(
    feed_hand_client: Pages, name: str, value: str, words: str
) -> None:
    values = {**form(field=str(make_field().uuid)), name: value}
    page = feed_hand_client.send(PATH, **values).content.decode()
    assert words in page
    assert not ForageBatch.objects.exists()


def test_not_by_others(milker_client: Pages, inspector_client: Pages) -> None:
    assert milker_client.get(PATH).status_code == 403
    assert inspector_client.send(PATH, **form()).status_code == 403
