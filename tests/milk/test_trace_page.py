"""The page of a trace: the answer, the drawing, the tables; who may not, and wrong input."""

from typing import Any
from xml.etree import ElementTree

import pytest
from django.test import Client
from django.urls import reverse

from config.asking import in_a_row
from milk.services.holds import hold_milk
from milk.trace import back
from milk.trace_animals import by_group, send_by_group_ahead
from tests.factories.feed import make_batch, make_feeding
from tests.factories.herd import make_course, make_dose, make_medicine
from tests.factories.milk import EVENING, lots_of, make_delivery, make_vat, stamp_at
from tests.milk.trace_chain import HOUR, MORNING, Chain

pytestmark = pytest.mark.django_db


def page(client: Any, way: str, kind: str, id: object) -> str:
    answer = client.get(reverse("milk:trace", args=[way, kind, id]))
    assert answer.status_code == 200
    return str(answer.content.decode())


def test_back_says_the_answer_and_draws_it(chain: Chain, vet_client: Any) -> None:
    make_dose(make_course(chain.cows[0], medicine=make_medicine(84), happened_at=EVENING - HOUR))
    make_feeding(make_batch(deadline=EVENING - 5 * HOUR), chain.metered, happened_at=EVENING - HOUR)
    hold_milk(stamp=stamp_at(MORNING), reason="other", words="look at it", lot=chain.evening)
    text = page(vet_client, "back", "wheel", chain.wheels[0].uuid)
    assert f"Wheel {chain.wheels[0].plate} holds 60.0 kg of milk from 2 lots" in text
    assert "HELD: look at it" in text
    assert "1 animal was inside a withdrawal period when milked: 1042" in text
    assert "4 h late" in text.replace("\u00a0", " ")
    assert text.count("<svg") == 2
    assert "answered in" in text


def test_forward_says_where_the_wheels_are(chain: Chain, vet_client: Any) -> None:
    text = page(vet_client, "forward", "animal", "1042")
    assert (
        "Milk of animal 1042 is in 2 lots, 3 vats and 2 wheels: 50.0 kg in lots of 190.0 kg."
        in text
    )
    assert "in the dairy" in text
    assert "Balance of these lots" in text


def test_page_keeps_to_the_content_security_policy(chain: Chain, vet_client: Any) -> None:
    for way, kind, id in (("back", "vat", chain.vat.uuid), ("forward", "lot", chain.evening.uuid)):
        text = page(vet_client, way, kind, id)
        assert " style=" not in text
        assert "onclick" not in text
        for part in text.split("<svg")[1:]:
            ElementTree.fromstring(f"<svg{part[: part.index('</svg>')]}</svg>")


def test_every_kind_of_start_has_a_page(chain: Chain, vet_client: Any) -> None:
    batch = make_batch()
    make_feeding(batch, chain.metered, happened_at=EVENING - HOUR)
    starts = {
        "batch": batch.pk,
        "field": batch.field.name,
        "group": 5,
        "lot": chain.morning.code,
        "course": make_course(chain.cows[1]).pk,
    }
    for kind, id in starts.items():
        assert "Forward from" in page(vet_client, "forward", kind, id)


def test_long_lists_are_folded_away(chain: Chain, vet_client: Any) -> None:
    text = page(vet_client, "back", "vat", chain.vat.uuid)
    assert "<details open><summary>6 animals, heaviest first</summary>" in text


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("back/wheel/no-such-plate", "Expected a plate number"),
        ("back/cow/1042", "cannot start from"),
        ("sideways/wheel/1", "goes “back” or “forward”"),
        ("forward/batch/99999999999", "Expected the number of a load"),
    ],
)
def test_unknown_start_is_404_in_words(path: str, words: str, vet_client: Any) -> None:
    answer = vet_client.get(f"/milk/trace/{path}/")
    assert answer.status_code == 404
    assert words in answer.content.decode()


def test_who_may_not(chain: Chain, nobody_client: Any) -> None:
    path = reverse("milk:trace", args=["back", "vat", chain.vat.uuid])
    assert nobody_client.get(path).status_code == 403
    sent_away = Client().get(path)
    assert sent_away.status_code == 302
    assert sent_away["Location"].startswith(reverse("login"))


def test_number_of_questions_to_the_database(
    chain: Chain, vet_client: Any, django_assert_max_num_queries: Any
) -> None:
    """Besides the chain's own: the session, the start, the rule, holds and places."""
    path = reverse("milk:trace", args=["back", "wheel", chain.wheels[0].uuid])
    vet_client.get(path)
    with django_assert_max_num_queries(23):
        vet_client.get(path)


def test_nothing_in_it_is_said(vet_client: Any) -> None:
    supplied = lots_of(make_delivery().tank)[0]
    for kind, id in (("vat", make_vat().uuid), ("lot", supplied.uuid)):
        assert "No animal of this book gave the milk." in page(vet_client, "back", kind, id)
        path = reverse("milk:trace", args=["back", kind, id])
        assert vet_client.get(path, {"animals": "all"}).status_code == 200


@pytest.mark.parametrize("kind", ["vat", "wheel", "lot"])
def test_some_animals_are_told_as_all_of_them_are(chain: Chain, kind: str) -> None:
    """The reference tells every animal, and counts those of each group one by one."""
    make_dose(make_course(chain.cows[0], medicine=make_medicine(84), happened_at=EVENING - HOUR))
    thing = {"vat": chain.vat, "wheel": chain.wheels[0], "lot": chain.morning}[kind]
    reference, found = back(kind, thing).found, back(kind, thing).found
    heaviest = [cow.pk for cow in reference.animals[:2]]
    listed = found.foremost(2)
    assert listed == set(heaviest)
    with in_a_row():
        found.ask_ahead(listed)
        told = found.tell(listed)
        send_by_group_ahead(found.inside)
        groups = by_group(found.inside)
    assert told == reference.animals[:2]
    assert found.withheld == reference.withheld != []
    assert found.mistaken == reference.mistaken
    of_group: dict[int, set[int]] = {}
    for cow in reference.animals:
        for at in cow.milkings:
            of_group.setdefault(at.milking.group, set()).add(cow.pk)
    assert groups == {group: len(cows) for group, cows in of_group.items()}
