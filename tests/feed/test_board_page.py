"""The forage board as a page: the answer in words first, and where to go from there."""

from decimal import Decimal

import pytest
from django.utils import timezone

from tests.cast import Pages
from tests.factories.feed import (
    make_batch,
    make_discard,
    make_fed_group,
    make_feeding,
    make_field,
    make_heap_check,
)
from tests.factories.herd import HOUR, NOON

pytestmark = pytest.mark.django_db
AT = "/feed/board/?at=2026-06-03T"


def text(pages: Pages, path: str = "/feed/board/", **headers: str) -> str:
    answer = pages.get(path, headers=headers)
    assert answer.status_code == 200
    words: str = answer.content.decode()
    return " ".join(
        words.replace("\u00a0", " ").replace('<span class="unit">kg</span>', "kg").split()
    )


def test_past_load_is_named_first_with_its_kilos(feed_hand_client: Pages) -> None:
    batch = make_batch(make_field("Mill Field"))
    make_feeding(batch, make_fed_group(3), kg=Decimal(6900))
    page = text(feed_hand_client, f"{AT}00:00")
    assert f"Discard 2,100 kg of load {batch.pk}." in page
    assert "past: discard" in page
    assert "past since" in page
    assert "group 3 6,900 kg" in page
    assert f"/entries/discards/new/?batch=load%20{batch.pk}&amp;kg=2100.0&amp;why=past" in page


def test_load_to_be_fed_first_leads_to_the_form(feed_hand_client: Pages) -> None:
    batch = make_batch()
    page = text(feed_hand_client, "/feed/board/?at=2026-06-02T21:00")
    assert f"Feed load {batch.pk} first." in page
    assert f"/feed/feedings/new/?of={batch.uuid}" in page
    assert f"/feed/batches/{batch.uuid}/heap/" in page
    assert "feed by" in page


def test_late_feeding_says_how_late(feed_hand_client: Pages) -> None:
    make_feeding(make_batch(), happened_at=NOON + 13.5 * HOUR)
    assert "1 h 30 min late" in text(feed_hand_client, f"{AT}02:00")


def test_used_up_loads_of_the_day(feed_hand_client: Pages) -> None:
    batch = make_batch(kg=Decimal(900))
    make_discard(batch, kg=Decimal(900), happened_at=NOON + HOUR)
    page = text(feed_hand_client, f"{AT}00:00")
    assert "No grass lies at the fence." in page
    assert "900 kg of it discarded" in page


def test_hot_heap_says_so(feed_hand_client: Pages) -> None:
    make_heap_check(make_batch(), happened_at=NOON + HOUR, heap=Decimal("36.5"))
    page = text(feed_hand_client, "/feed/board/?at=2026-06-02T14:00")
    assert "found heated" in page
    assert "why=heated" in page


def test_load_without_a_rule(feed_hand_client: Pages) -> None:
    batch = make_batch(deadline=None)
    page = text(feed_hand_client, "/feed/board/?at=2026-06-02T14:00")
    assert f"No window rule covers load {batch.pk}" in page
    assert "NOT SURE" in page


def test_rest_of_a_split_load_is_asked_for(feed_hand_client: Pages) -> None:
    batch = make_batch()
    make_feeding(batch, kg=Decimal(6200))
    make_batch(happened_at=NOON + HOUR)
    page = text(feed_hand_client, "/feed/board/?at=2026-06-02T14:00")
    assert "2,800 kg of it: where did they go?" in page


def test_everybody_reads_that_the_rules_are_the_estates_own(inspector_client: Pages) -> None:
    page = text(inspector_client)
    assert "no published time until cut grass heats was found" in page
    assert "as at" in page


def test_who_only_reads_gets_no_buttons(inspector_client: Pages) -> None:
    make_batch(happened_at=timezone.now() - HOUR)
    page = text(inspector_client)
    for path in ("/feed/cuts/new/", "/feed/feedings/new/", "/entries/discards/new/"):
        assert path not in page


def test_part_for_another_page_has_no_head(vet_client: Pages) -> None:
    batch = make_batch(happened_at=timezone.now() - HOUR)
    part = text(vet_client, **{"HX-Request": "true"})
    assert "<html" not in part
    assert f"Load {batch.pk}" in part


def test_short_address_is_the_same_page(vet_client: Pages) -> None:
    assert "Grass at the fence" in text(vet_client, "/feed/")


def test_moment_that_is_none_is_refused_in_words(vet_client: Pages) -> None:
    answer = vet_client.get("/feed/board/?at=yesterday")
    assert answer.status_code == 400
    assert "is no date and time" in answer.content.decode()


def test_not_without_a_role(nobody_client: Pages) -> None:
    assert nobody_client.get("/feed/board/").status_code == 403
    assert Pages().get("/feed/board/").status_code == 302
