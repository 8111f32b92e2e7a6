"""Feed one load to several groups: one form, one feeding for each."""

from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from feed.models import Feeding
from feed.services.feedings import NO_SHARES
from tests.cast import Pages
from tests.factories.feed import make_batch, make_fed_group, make_feed_lot, make_feeding
from tests.factories.herd import HOUR, make_group

pytestmark = pytest.mark.django_db
PATH = "/feed/feedings/new/"


def now() -> str:
    return timezone.localtime().strftime("%Y-%m-%dT%H:%M")


def fresh(**fields: Any) -> Any:
    return make_batch(happened_at=timezone.now() - HOUR, **fields)


def test_several_groups_at_once(feed_hand_client: Pages) -> None:
    batch = fresh()
    three, one = make_fed_group(3), make_fed_group(1)
    page = feed_hand_client.get(f"{PATH}?of={batch.uuid}").content.decode()
    assert "9,000 kg left" in page
    assert page.index("Group 1, in milk, kg") < page.index("Group 3, in milk, kg")
    answer = feed_hand_client.send(
        PATH,
        of=str(batch.uuid),
        happened_at=now(),
        weighed="on",
        kg_3="5200,5",
        kg_1="1000",
    )
    assert answer.url == f"/feed/batches/{batch.uuid}/"
    fed = Feeding.objects.order_by("group__number").values_list("group", "kg", "weighed")
    assert list(fed) == [(one.pk, Decimal(1000), True), (three.pk, Decimal("5200.5"), True)]


def test_sent_twice_is_one_act(feed_hand_client: Pages) -> None:
    batch = fresh()
    make_fed_group(3)
    make_fed_group(1)
    values = {"of": str(batch.uuid), "happened_at": now(), "kg_1": "10", "kg_3": "20"}
    for _ in range(2):
        assert feed_hand_client.send(PATH, once="fed-1", **values).status_code == 302
    assert Feeding.objects.count() == 2


def test_hay_is_fed_the_same_way(feed_hand_client: Pages) -> None:
    lot = make_feed_lot()
    make_fed_group(3)
    answer = feed_hand_client.send(PATH, of=str(lot.uuid), happened_at=now(), kg_3="1180")
    assert answer.url == "/feed/board/"
    assert Feeding.objects.get().feed_lot == lot


def test_late_feeding_is_written_and_says_so(feed_hand_client: Pages) -> None:
    batch = make_batch(happened_at=timezone.now() - 13.5 * HOUR)
    make_fed_group(3)
    answer = feed_hand_client.post(
        PATH,
        {"of": str(batch.uuid), "happened_at": now(), "kg_3": "500", "once": "late-1"},
        follow=True,
    )
    assert "1.5 h past its deadline" in answer.content.decode()
    assert Feeding.objects.count() == 1


def test_more_than_is_left_saves_nothing(feed_hand_client: Pages) -> None:
    batch = fresh()
    make_fed_group(3)
    make_fed_group(1)
    answer = feed_hand_client.send(
        PATH,
        of=str(batch.uuid),
        happened_at=now(),
        kg_1="9000",
        kg_3="1",
    )
    assert answer.status_code == 200
    assert "has 9,000 kg left of 9,000 kg, and this says 9,001 kg" in answer.content.decode()
    assert not Feeding.objects.exists()


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("kg_3", "", NO_SHARES),
        ("kg_3", "-5", "-5 is too little. Expected at least 0.1."),
        ("kg_3", "1.234,5", "is not a number we can trust"),
        ("of", "grass", "Select a valid choice"),
        ("happened_at", "", "required"),
        ("happened_at", "2199-01-01T05:00", "has not come yet"),
    ],
)
def test_bad_input_is_told(feed_hand_client: Pages, name: str, value: str, words: str) -> None:
    batch = fresh()
    make_fed_group(3)
    values = {"of": str(batch.uuid), "happened_at": now(), "kg_3": "100", name: value}
    page = feed_hand_client.send(PATH, **values).content.decode()
    assert words in page
    assert not Feeding.objects.exists()


def test_group_without_animals_is_not_offered(feed_hand_client: Pages) -> None:
    make_group(9)
    assert "Group 9" not in feed_hand_client.get(PATH).content.decode()


def test_with_nothing_in_the_book_the_form_says_so(feed_hand_client: Pages) -> None:
    assert "Nothing with kilos left" in feed_hand_client.get(PATH).content.decode()


def test_not_by_others(cheesemaker_client: Pages, inspector_client: Pages) -> None:
    assert cheesemaker_client.get(PATH).status_code == 403
    assert inspector_client.send(PATH, of="x").status_code == 403


def test_one_touch_feeds_a_group_what_it_likely_gets(feed_hand_client: Pages) -> None:
    """As much as last time, or what is left; of the load with the soonest deadline."""
    three, one = make_fed_group(3), make_fed_group(1)
    whole = feed_hand_client.get(f"{PATH}?of={fresh(kg=Decimal(700)).uuid}").context["quick"]
    assert [(share.group, share.kg) for share in whole.shares] == [(one, 700), (three, 700)]
    old = fresh(kg=Decimal(9000))
    make_feeding(old, three, kg=Decimal(1200), happened_at=timezone.now() - HOUR)
    load = fresh(kg=Decimal(2000))
    quick = feed_hand_client.get(f"{PATH}?of={load.uuid}").context["quick"]
    assert quick.load == load
    assert [(share.group, share.kg) for share in quick.shares] == [(three, 1200)]
    share = quick.shares[0]
    sent = {"of": str(load.uuid), "happened_at": timezone.now().isoformat(), share.name: share.kg}
    assert feed_hand_client.send(PATH, **sent).status_code == 302
    fed = Feeding.objects.get(batch=load)
    assert (fed.group, fed.kg, fed.weighed) == (three, Decimal(1200), False)
    page = feed_hand_client.get(f"{PATH}?of={load.uuid}")
    assert [share.kg for share in page.context["quick"].shares] == [800]
    assert "One touch" in page.content.decode()


def test_no_touch_is_offered_for_a_load_past_its_time(feed_hand_client: Pages) -> None:
    make_fed_group(3)
    late = make_batch(happened_at=timezone.now() - 30 * HOUR)
    for query in (f"?of={late.uuid}", "", "?of=no-number"):
        assert feed_hand_client.get(f"{PATH}{query}").context["quick"] is None
