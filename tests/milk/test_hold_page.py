"""The page of a hold: what is kept back, who has decided, who must still decide."""

from datetime import timedelta
from typing import Any

import pytest

from milk.models import Hold, HoldDecision
from milk.services import holds
from tests.factories.milk import EVENING, bare_lot, bare_vat_lot, make_vat, make_wheel, stamp_at

pytestmark = pytest.mark.django_db


@pytest.fixture
def hold(db: None) -> Hold:
    lot = bare_lot(code="B-0609-E")
    vat = make_vat()
    bare_vat_lot(vat, lot, 250)
    make_wheel(vat=vat, plate="0004711")
    return holds.hold_milk(
        stamp=stamp_at(EVENING + timedelta(hours=1)),
        reason="other",
        words="smells of onions",
        lot=lot,
    )


def path(hold: Hold) -> str:
    return f"/milk/holds/{hold.uuid}/"


def page(client: Any, hold: Hold) -> str:
    answer = client.get(path(hold))
    assert answer.status_code == 200, answer.content
    return " ".join(answer.content.decode().split())


def send(client: Any, hold: Hold, **fields: str) -> Any:
    fields.setdefault("decision", "release")
    fields.setdefault("words", "laboratory number 12: negative")
    return client.send(path(hold), **fields)


def test_it_shows_what_lies_below_and_who_must_decide(vet_client: Any, hold: Hold) -> None:
    text = page(vet_client, hold)
    assert "Smells of onions" in text
    assert "Two different people must decide the same (vet, cheesemaker, owner)" in text
    assert "B-0609-E" in text
    assert "0004711" in text
    assert "An inhibitor test finds only some substances" in text


def test_two_people_release_on_the_page(
    vet_client: Any, cheesemaker_client: Any, hold: Hold
) -> None:
    assert send(vet_client, hold).status_code == 302
    assert "One more person must decide the same" in page(vet_client, hold)
    assert "You decided “release”" in page(vet_client, hold)
    assert send(cheesemaker_client, hold).status_code == 302
    assert holds.outcome_of(hold) == "release"
    text = page(cheesemaker_client, hold)
    assert '<span class="state state-closed">release</span>' in text
    assert 'name="decision"' not in text


def test_one_person_twice_is_refused_in_words(vet_client: Any, hold: Hold) -> None:
    send(vet_client, hold)
    again = send(vet_client, hold)
    assert again.status_code in (200, 409)
    assert "A different person must decide too" in again.content.decode()
    assert HoldDecision.objects.count() == 1


@pytest.mark.parametrize("role", ["milker", "inspector", "office"])
def test_others_may_not_decide(request: Any, role: str, hold: Hold) -> None:
    client = request.getfixturevalue(f"{role}_client")
    assert send(client, hold).status_code == 403
    assert "<h2>Decide</h2>" not in page(client, hold)
    assert not HoldDecision.objects.exists()


@pytest.mark.parametrize("fields", [{"words": ""}, {"decision": "perhaps"}, {"decision": ""}])
def test_a_decision_without_its_parts_is_refused(
    vet_client: Any, hold: Hold, fields: dict[str, str]
) -> None:
    answer = send(vet_client, hold, **fields)
    assert "Nothing was saved" in answer.content.decode()
    assert not HoldDecision.objects.exists()


def test_the_same_form_sent_twice_counts_once(vet_client: Any, hold: Hold) -> None:
    for _ in range(2):
        assert send(vet_client, hold, once="the-same-form").status_code == 302
    assert HoldDecision.objects.count() == 1


def test_what_was_decided_otherwise_says_it_stays_out(
    vet_client: Any, owner_client: Any, hold: Hold
) -> None:
    for client in (vet_client, owner_client):
        send(client, hold, decision="downgrade")
    text = page(vet_client, hold)
    assert "use otherwise" in text
    assert "It stays out of the cheese" in text


def test_what_came_below_it_later_is_told_apart(vet_client: Any, hold: Hold) -> None:
    assert "Below it by now as well" not in page(vet_client, hold)
    make_wheel(vat=hold.lot.vats.get().vat, plate="0004712")
    text = page(vet_client, hold)
    assert "Below it by now as well" in text
    assert "0004712" in text


def test_the_api_tells_how_far_it_reaches(vet_api: Any, hold: Hold) -> None:
    told = vet_api.get(f"/api/holds/{hold.uuid}/reach/").json()
    assert told["outcome"] == ""
    assert [wheel["name"] for wheel in told["wheels"]] == ["0004711"]
    assert [lot["name"] for lot in told["lots"]] == ["B-0609-E"]
