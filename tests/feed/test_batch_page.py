"""The page of a load: everything on it, struck lines too."""

from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.utils import timezone

from feed.models import Feeding
from feed.services.batches import correct_batch
from feed.services.feedings import strike_feeding
from tests.cast import Pages
from tests.factories.feed import (
    make_batch,
    make_discard,
    make_fed_group,
    make_feeding,
    make_field,
    make_heap_check,
    make_work,
)
from tests.factories.herd import DAY, HOUR, NOON, make_stamp, make_user

pytestmark = pytest.mark.django_db


def text(pages: Pages, batch: Any) -> str:
    answer = pages.get(f"/feed/batches/{batch.uuid}/")
    assert answer.status_code == 200
    words: str = answer.content.decode()
    return " ".join(
        words.replace("\u00a0", " ").replace('<span class="unit">kg</span>', "kg").split()
    )


def test_load_with_all_that_happened_to_it(vet_client: Pages) -> None:
    batch = make_batch(make_field("Mill Field"), dry_matter=Decimal("17.5"), weighed=False)
    make_feeding(batch, make_fed_group(3), kg=Decimal(4000), happened_at=NOON + HOUR)
    make_feeding(batch, make_fed_group(1), kg=Decimal(800), happened_at=NOON + 14 * HOUR)
    make_heap_check(batch, happened_at=NOON + 2 * HOUR, heap=Decimal("24.5"))
    make_discard(batch, kg=Decimal(500), witness="the milker", happened_at=NOON + 15 * HOUR)
    page = text(vet_client, batch)
    for words in (
        "Mill Field",
        "about 9,000 kg",
        "17.5",
        "group 3",
        "in time",
        "2 h late",
        "24.5",
        "seen by the milker",
        "past: discard",
        "3,700 kg left",
        "Never to dry cows",
        "no published time until cut grass heats was found",
    ):
        assert words in page, words


def test_struck_lines_stay_readable(vet_client: Pages) -> None:
    batch = make_batch()
    feeding = make_feeding(batch, make_fed_group(3), kg=Decimal(1234))
    strike_feeding(feeding, by=make_user(), reason="quantity")
    page = text(vet_client, batch)
    assert 'class="struck-row"' in page
    assert "1,234 kg" in page
    assert "9,000 kg left" in page


def test_older_wordings_stay_readable(vet_client: Pages) -> None:
    batch = make_batch()
    correct_batch(batch, stamp=make_stamp(), reason="quantity", field=batch.field, kg=Decimal(8200))
    page = text(vet_client, batch)
    assert "What it said before" in page
    assert "9,000 kg" in page


def test_struck_load_says_by_whom_and_why(vet_client: Pages) -> None:
    batch = make_batch(struck_at=NOON, struck_by=make_user(), struck_reason="twice")
    page = text(vet_client, batch)
    assert "entered twice" in page
    assert "/feed/feedings/new/" not in page


def test_load_cut_too_early_says_so_for_life(vet_client: Pages) -> None:
    field = make_field()
    make_work(field, what="spray", happened_at=NOON - 9 * DAY, waiting_days=21)
    page = text(vet_client, make_batch(field, early_reason="far strip only"))
    assert "Cut before the field was free" in page
    assert "far strip only" in page
    assert "free on" in page


# T37: one touch writes the rest to a group.
def test_rest_is_written_by_one_touch(feed_hand_client: Pages) -> None:
    cut_at = timezone.now() - 3 * HOUR
    batch, group = make_batch(happened_at=cut_at), make_fed_group(3)
    last = make_feeding(batch, group, kg=Decimal(6200), happened_at=cut_at + HOUR)
    asks = f"2,800 kg of load {batch.pk}: where?"
    assert asks not in text(feed_hand_client, batch)
    make_batch(happened_at=cut_at + 2 * HOUR)
    assert asks in text(feed_hand_client, batch)
    answer = feed_hand_client.send(f"/feed/batches/{batch.uuid}/where/", group="3")
    assert answer.status_code == 302, answer.content.decode()
    written = Feeding.objects.latest("pk")
    assert (written.kg, written.group, written.weighed) == (Decimal(2800), group, False)
    assert written.happened_at == last.happened_at
    assert asks not in text(feed_hand_client, batch)


@pytest.mark.parametrize(
    ("sent", "words"),
    [({}, "Say which group had the rest"), ({"group": "99"}, "There is no group 99")],
)
def test_where_without_a_group_we_know_says_what_was_expected(
    feed_hand_client: Pages, sent: dict[str, str], words: str
) -> None:
    batch = make_batch()
    answer = feed_hand_client.send(f"/feed/batches/{batch.uuid}/where/", **sent)
    assert answer.url == f"/feed/batches/{batch.uuid}/"
    assert words in feed_hand_client.get(answer.url).content.decode()
    assert not Feeding.objects.exists()


def test_load_leads_to_the_milk_that_came_of_it(vet_client: Pages) -> None:
    batch = make_batch()
    assert f"/milk/trace/forward/batch/{batch.uuid}/" in text(vet_client, batch)


def test_unknown_load_is_not_found(vet_client: Pages) -> None:
    assert vet_client.get(f"/feed/batches/{uuid4()}/").status_code == 404


def test_not_without_a_role(nobody_client: Pages) -> None:
    assert nobody_client.get(f"/feed/batches/{make_batch().uuid}/").status_code == 403
