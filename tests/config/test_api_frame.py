"""The API that is made from the kinds."""

from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from drf_spectacular import drainage
from drf_spectacular.generators import SchemaGenerator

from config.api.paging import LARGEST
from config.kinds import all_kinds
from config.roles import ACTIONS
from herd.models import Animal, HealthEvent
from tests.factories.frame import make_any
from tests.factories.herd import (
    HOUR,
    NOON,
    make_animal,
    make_dose,
    make_group,
    make_health_event,
    put_in_group,
)

pytestmark = pytest.mark.django_db
KINDS = [pytest.param(kind, id=kind.slug) for kind in all_kinds()]
EVENTS = "/api/health-events/"


def event(animal, **fields):
    return {
        "animal": str(animal.uuid),
        "sign": "flakes LF",
        "happened_at": "2026-06-02T12:00:00+02:00",
        **fields,
    }


def test_write_and_read_an_entry(stockman_api, stockman):
    animal, number = make_animal(), str(uuid4())
    answer = stockman_api.post(
        EVENTS, event(animal, id=number, device="phone 3", written_at="2026-06-02T12:05:00+02:00")
    )
    assert answer.status_code == 201
    assert answer["Location"] == f"{EVENTS}{number}/"
    body = stockman_api.get(answer["Location"]).json()
    assert body == answer.json()
    assert body["animal"] == str(animal.uuid)
    assert (body["id"], body["by"], body["device"]) == (number, "stockman", "phone 3")
    assert body["happened_at"] == "2026-06-02T12:00:00+02:00"
    assert body["zone_offset"] == 120
    assert body["struck"] is body["replaces"] is body["replaced_by"] is None
    assert HealthEvent.objects.get(uuid=number).by == stockman


def test_a_moment_without_its_offset_is_refused(vet_api):
    answer = vet_api.post(EVENTS, event(make_animal(), happened_at="2026-06-02T12:00:00"))
    assert answer.status_code == 400
    assert "does not say which clock" in answer.json()["detail"]


@pytest.mark.parametrize(
    ("sent", "offset"),
    [
        ("2026-06-02T12:00:00+02:00", 120),
        ("2026-06-02T10:00:00Z", 120),
        ("2026-06-02T15:30:00+05:30", 330),
        ("2026-06-02T10:00:00+00:00", 0),
    ],
)
def test_the_offset_is_that_of_the_clock_it_was_sent_by(vet_api, sent, offset):
    body = vet_api.post(EVENTS, event(make_animal(), happened_at=sent)).json()
    assert body["zone_offset"] == offset
    assert HealthEvent.objects.get(uuid=body["id"]).happened_at == NOON


def test_keys_that_are_misspelt_or_not_the_senders_are_named(vet_api):
    answer = vet_api.post(EVENTS, event(make_animal(), sihn="x", by="vet", received_at="now"))
    found = {error["pointer"]: error["detail"] for error in answer.json()["errors"]}
    assert set(found) == {"#/sihn", "#/by", "#/received_at"}
    assert "Expected only" in found["#/sihn"]
    assert "set by the server" in found["#/by"]


def test_an_entry_that_is_named_must_exist_and_stand(vet_api):
    animal = make_animal()
    animal.struck_at, animal.struck_by, animal.struck_reason = NOON, animal.by, "twice"
    animal.save()
    for number, words in ((uuid4(), "There is no animal"), (animal.uuid, "was struck")):
        answer = vet_api.post(EVENTS, {**event(animal), "animal": str(number)})
        assert answer.status_code == 400
        assert answer.json()["errors"][0]["pointer"] == "#/animal"
        assert words in answer.json()["detail"]


def test_a_dose_may_name_a_struck_course(vet_api):
    course = make_dose().course
    vet_api.post(f"/api/courses/{course.uuid}/strike/", {"reason": "product"})
    body = {"course": str(course.uuid), "quantity": "1", "happened_at": "2026-06-03T05:00:00+02:00"}
    assert vet_api.post("/api/doses/", body).status_code == 201


def test_the_same_id_and_content_is_the_same_entry(vet_api):
    body = event(make_animal(), id=str(uuid4()))
    first, again = vet_api.post(EVENTS, body), vet_api.post(EVENTS, body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert HealthEvent.objects.count() == 1


def test_the_same_id_with_other_content_is_a_conflict(vet_api):
    body = event(make_animal(), id=str(uuid4()))
    vet_api.post(EVENTS, body)
    other = vet_api.post(EVENTS, {**body, "sign": "lame"})
    assert other.status_code == 409
    assert HealthEvent.objects.get().sign == "flakes LF"


def test_the_same_id_from_another_person_is_a_conflict(vet_api, stockman_api):
    body = event(make_animal(), id=str(uuid4()))
    vet_api.post(EVENTS, body)
    assert stockman_api.post(EVENTS, body).status_code == 409


def test_strike_once(vet_api):
    path = f"{EVENTS}{make_health_event().uuid}/strike/"
    struck = vet_api.post(path, {"reason": "animal", "words": "it was 1043"}).json()["struck"]
    assert (struck["by"], struck["reason"], struck["words"]) == ("vet", "animal", "it was 1043")
    assert vet_api.post(path, {"reason": "animal"}).status_code == 409


@pytest.mark.parametrize(
    ("why", "where"),
    [
        ({}, "#/reason"),
        ({"reason": "because"}, "#/reason"),
        ({"reason": "other"}, "#/words"),
        ({"reason": "twice", "wrods": "x"}, "#/wrods"),
        ({"reason": "other", "words": "x" * 401}, "#/words"),
    ],
)
def test_a_strike_says_why(vet_api, why, where):
    made = make_health_event()
    answer = vet_api.post(f"{EVENTS}{made.uuid}/strike/", why)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] == where
    made.refresh_from_db()
    assert not made.is_struck


def test_re_entry_of_a_leaf_is_a_new_entry_in_its_place(vet_api):
    old, other = make_health_event(), make_animal()
    answer = vet_api.post(
        f"{EVENTS}{old.uuid}/re-enter/", {**event(other), "reason": "animal", "words": ""}
    )
    assert answer.status_code == 201
    body = answer.json()
    assert (body["replaces"], body["animal"]) == (str(old.uuid), str(other.uuid))
    was = vet_api.get(f"{EVENTS}{old.uuid}/").json()
    assert was["struck"]["reason"] == "animal"
    assert was["replaced_by"] == body["id"]


def test_re_entry_of_a_parent_keeps_its_number(vet_api):
    group = make_group(77, milked=False)
    put_in_group(make_animal(), group)
    body = {
        "number": 78,
        "happened_at": "2026-06-02T12:00:00+02:00",
        "reason": "other",
        "words": "two signs were swapped",
    }
    answer = vet_api.post(f"/api/groups/{group.uuid}/re-enter/", body)
    assert answer.status_code == 201
    assert (answer.json()["id"], answer.json()["number"]) == (str(group.uuid), 78)
    copy = vet_api.get(f"/api/groups/{answer.json()['replaces']}/").json()
    assert (copy["number"], copy["replaced_by"]) == (77, str(group.uuid))


def test_a_refused_re_entry_strikes_nothing(vet_api):
    old = make_health_event()
    answer = vet_api.post(
        f"{EVENTS}{old.uuid}/re-enter/",
        {**event(old.animal), "temperature": "99", "reason": "time"},
    )
    assert answer.status_code == 400
    old.refresh_from_db()
    assert not old.is_struck
    assert HealthEvent.objects.count() == 1


def test_a_parent_with_something_hanging_on_it_is_not_struck(vet_api):
    group = make_group(milked=False)
    put_in_group(make_animal(), group)
    answer = vet_api.post(f"/api/groups/{group.uuid}/strike/", {"reason": "twice"})
    assert answer.status_code == 409
    assert "hang on it" in answer.json()["detail"]


def test_the_list_is_newest_first_and_pages_through_all(vet_api):
    animal = make_animal()
    # Seven of them at one moment: the number decides then.
    moments = [NOON + n * HOUR for n in range(8)] + [NOON] * 6
    made = [make_health_event(animal, at=moment) for moment in moments]
    expected = [
        str(e.uuid) for e in sorted(made, key=lambda e: (e.happened_at, e.pk), reverse=True)
    ]
    seen, path = [], f"{EVENTS}?size=5"
    while path:
        page = vet_api.get(path).json()
        seen += [entry["id"] for entry in page["results"]]
        last, path = path, page["next"]
    assert seen == expected
    back = vet_api.get(vet_api.get(last).json()["previous"]).json()
    assert [entry["id"] for entry in back["results"]] == expected[5:10]
    first = vet_api.get(back["previous"]).json()
    assert [entry["id"] for entry in first["results"]] == expected[:5]
    assert first["previous"] is None


def test_the_list_is_narrowed_by_time_strike_and_what_it_names(vet_api):
    animal, other = make_animal(), make_animal()
    one = make_health_event(animal, at=NOON)
    two = make_health_event(animal, at=NOON + HOUR)
    make_health_event(other, at=NOON + 2 * HOUR)
    vet_api.post(f"{EVENTS}{two.uuid}/strike/", {"reason": "twice"})

    def found(**query):
        return [entry["id"] for entry in vet_api.get(EVENTS, **query).json()["results"]]

    assert found(animal=str(animal.uuid)) == [str(two.uuid), str(one.uuid)]
    assert found(animal=str(animal.uuid), struck="no") == [str(one.uuid)]
    assert found(struck="yes") == [str(two.uuid)]
    assert found(happened_to="2026-06-02T13:00:00+02:00") == [str(one.uuid)]
    assert len(found(happened_from="2026-06-02T13:00:00+02:00")) == 2


def statements(api, path):
    with CaptureQueriesContext(
        connection,
    ) as caught:
        assert api.get(path).status_code == 200
    return len(caught)


@pytest.mark.parametrize("kind", KINDS)
def test_a_longer_list_takes_no_more_statements(vet_api, kind):
    path = f"/api/{kind.slug}/?size={LARGEST}"
    make_any(kind.model)
    few = statements(vet_api, path)
    make_any(kind.model)
    make_any(kind.model)
    assert statements(vet_api, path) == few
    assert few <= 8


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_open_to_its_writers_and_to_no_others(kind, request):
    path = f"/api/{kind.slug}/"
    for role in ("vet", "cheesemaker", "inspector"):
        api = request.getfixturevalue(f"{role.replace(' ', '_')}_api")
        assert api.get(path).status_code == 200
        allowed = role in ACTIONS[f"write:{kind.slug}"]
        # An empty body is refused for what it lacks, but only by those who may write.
        assert api.post(path, {}).status_code == (400 if allowed else 403)


@pytest.mark.parametrize("kind", KINDS)
def test_who_may_not_strike_is_refused(kind, inspector_api, nobody_api):
    path = f"/api/{kind.slug}/{make_any(kind.model).uuid}/"
    for act in ("strike/", "re-enter/"):
        assert inspector_api.post(f"{path}{act}", {"reason": "twice"}).status_code == 403
        assert nobody_api.post(f"{path}{act}", {"reason": "twice"}).status_code == 403
    assert nobody_api.get(path).status_code == 403


def test_the_writer_may_strike_their_own_for_half_an_hour(stockman_api):
    body = {"ear_tag": "999000000009901", "happened_at": "2026-06-02T12:00:00+02:00"}
    number = stockman_api.post("/api/animals/", body).json()["id"]
    path = f"/api/animals/{number}/strike/"
    assert stockman_api.post(path, {"reason": "twice"}).status_code == 200
    old = make_animal(by=Animal.objects.get(uuid=number).by)
    assert old.received_at < NOON
    path = f"/api/animals/{old.uuid}/strike/"
    assert stockman_api.post(path, {"reason": "twice"}).status_code == 403


@pytest.fixture(scope="module")
def description():
    """The OpenAPI description and the warnings its making gave."""
    drainage.reset_generator_stats()
    made = SchemaGenerator().get_schema(request=None, public=True)
    stats = drainage.GENERATOR_STATS
    return made, [*stats._warn_cache, *stats._error_cache]


def test_the_description_is_complete_and_without_warnings(description):
    made, warnings = description
    assert warnings == []
    for kind in all_kinds():
        assert {"get", "post"} <= set(made["paths"][f"/api/{kind.slug}/"])
        assert "post" in made["paths"][f"/api/{kind.slug}/{{uuid}}/re-enter/"]
        assert kind.model.__name__ in made["components"]["schemas"]
    names = [
        operation["operationId"] for path in made["paths"].values() for operation in path.values()
    ]
    assert len(names) == len(set(names))


def test_the_description_tells_how_each_write_can_fail(description):
    post = description[0]["paths"]["/api/groups/"]["post"]
    assert {"400", "401", "403", "409", "415", "422", "429"} <= set(post["responses"])
    assert "Idempotency-Key" in {parameter["name"] for parameter in post["parameters"]}


def test_the_description_is_for_those_who_may_read(inspector_api, nobody_api, client):
    assert client.get("/api/schema/").status_code == 401
    assert nobody_api.get("/api/schema/").status_code == 403
    assert inspector_api.get("/api/schema/?format=json").json()["openapi"].startswith("3.")
