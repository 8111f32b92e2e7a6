"""Every kind of the feed by API: written, struck, written again; who may not; what is refused."""

from decimal import Decimal

import pytest

from config.kinds import kind_named
from tests.cast import Api, user_in
from tests.factories.feed import make_batch, make_feeding
from tests.feed.bodies import KEEP_NUMBER, KINDS, whole

pytestmark = pytest.mark.django_db
EACH = pytest.mark.parametrize("slug", KINDS)
WHY = {"reason": "quantity"}


def writer(slug: str) -> Api:
    return Api(user_in(KINDS[slug][1]))


@EACH
def test_written(slug: str) -> None:
    body = whole(slug)
    answer = writer(slug).post(f"/api/{slug}/", body)
    assert answer.status_code == 201, answer.content
    told = answer.json()
    assert {name: told[name] for name in body if name != "happened_at"} == {
        name: value for name, value in body.items() if name != "happened_at"
    }
    assert kind_named(slug).model.objects.get(uuid=told["id"]).by == user_in(KINDS[slug][1])


@EACH
def test_sent_twice_is_one_entry(slug: str) -> None:
    body, api = whole(slug), writer(slug)
    first = api.post(f"/api/{slug}/", body, key="once-1")
    before = kind_named(slug).model.objects.count()
    again = api.post(f"/api/{slug}/", body, key="once-1")
    assert again.json() == first.json()
    assert kind_named(slug).model.objects.count() == before


@EACH
@pytest.mark.parametrize("who", ["wrong role", "inspector", None])
def test_not_by_everybody(slug: str, who: str | None) -> None:
    body = whole(slug)
    before = kind_named(slug).model.objects.count()
    role = KINDS[slug][2] if who == "wrong role" else who
    answer = Api(user_in(role)).post(f"/api/{slug}/", body)
    assert answer.status_code == 403
    assert kind_named(slug).model.objects.count() == before


@EACH
def test_not_without_a_name(slug: str) -> None:
    assert Api(None).get(f"/api/{slug}/").status_code == 401


@EACH
def test_bad_value_is_refused_at_its_place(slug: str) -> None:
    body = {**whole(slug), **KINDS[slug][3]}
    before = kind_named(slug).model.objects.count()
    answer = writer(slug).post(f"/api/{slug}/", body)
    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["errors"]
    assert kind_named(slug).model.objects.count() == before


@EACH
def test_struck(slug: str) -> None:
    api = writer(slug)
    number = api.post(f"/api/{slug}/", whole(slug)).json()["id"]
    answer = api.post(f"/api/{slug}/{number}/strike/", WHY)
    assert answer.status_code == 200, answer.content
    assert answer.json()["struck"]["reason"] == "quantity"
    assert api.post(f"/api/{slug}/{number}/strike/", WHY).status_code == 409


@EACH
def test_written_again(slug: str) -> None:
    api, body = writer(slug), whole(slug)
    number = api.post(f"/api/{slug}/", body).json()["id"]
    answer = api.post(f"/api/{slug}/{number}/re-enter/", {**body, **WHY})
    assert answer.status_code == 201, answer.content
    told = answer.json()
    assert (told["id"] == number) is (slug in KEEP_NUMBER)
    old = api.get(f"/api/{slug}/{told['replaces']}/").json()
    assert old["struck"]["reason"] == "quantity"


@EACH
def test_listed_and_shown(slug: str) -> None:
    number = writer(slug).post(f"/api/{slug}/", whole(slug)).json()["id"]
    api = Api(user_in("inspector"))
    assert number in [told["id"] for told in api.get(f"/api/{slug}/").json()["results"]]
    assert api.get(f"/api/{slug}/{number}/").json()["id"] == number


def test_load_tells_its_deadline() -> None:
    body = whole("forage-batches")
    told = writer("forage-batches").post("/api/forage-batches/", body).json()
    assert told["deadline"] == "2026-06-03T01:00:00+02:00"
    assert told["done_at"] is None


def test_load_with_feedings_is_not_struck() -> None:
    batch = make_batch()
    make_feeding(batch, kg=Decimal(500))
    answer = writer("feedings").post(f"/api/forage-batches/{batch.uuid}/strike/", WHY)
    assert answer.status_code == 409
    assert "1 feeding" in answer.json()["detail"]


def test_deadline_is_not_for_the_sender_to_set() -> None:
    body = {**whole("forage-batches"), "deadline": "2030-01-01T00:00:00+00:00"}
    answer = writer("forage-batches").post("/api/forage-batches/", body)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] == "#/deadline"
