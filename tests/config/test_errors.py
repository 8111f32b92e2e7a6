"""Whatever goes wrong, the answer is a problem in words, and never an answer of 500."""

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, connection, transaction
from django.http import Http404
from rest_framework import exceptions as drf

from config import errors
from config.errors import Conflict, Unprocessable, problem_of
from herd.models import Group
from tests.factories.herd import make, make_animal, make_group

GROUPS = "/api/groups/"
HAPPENED = "2026-06-02T12:00:00+02:00"


def problem(answer, status):
    assert answer["Content-Type"] == errors.PROBLEM_JSON
    body = answer.json()
    assert (answer.status_code, body["status"]) == (status, status)
    assert body["detail"]
    assert body["title"]
    return body


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (Conflict("no"), 409),
        (Unprocessable("no"), 422),
        (ValidationError("no"), 400),
        (PermissionDenied("no"), 403),
        (Http404(), 404),
        (drf.NotAuthenticated(), 401),
        (drf.MethodNotAllowed("PUT"), 405),
        (drf.UnsupportedMediaType("text/x"), 415),
        (drf.Throttled(wait=3), 429),
        (OverflowError(), 400),
    ],
)
def test_each_exception_has_its_status(error, status):
    found = problem_of(error)
    assert found is not None
    assert found.body()["status"] == status


def test_a_fault_of_ours_is_no_problem_of_the_sender():
    assert problem_of(ZeroDivisionError()) is None


def test_who_must_wait_is_told_how_long():
    assert problem_of(drf.Throttled(wait=3)).headers["Retry-After"] == "4"


def test_nested_messages_point_to_where_they_belong():
    found = problem_of(
        drf.ValidationError({"lots": [{}, {"kg": ["Too much."]}], "uuid": ["No."], "a/b": ["x"]})
    )
    assert found.errors == [
        {"detail": "Too much.", "pointer": "#/lots/1/kg"},
        {"detail": "No.", "pointer": "#/id"},
        {"detail": "x", "pointer": "#/a~1b"},
    ]


def test_one_message_is_the_detail_and_several_are_counted_out():
    assert problem_of(ValidationError({"kg": "Too much."})).detail == "Too much."
    assert problem_of(ValidationError({"kg": "a", "at": "b"})).detail == errors.SEE_FIELDS


@pytest.mark.django_db
def test_a_named_constraint_speaks_its_own_words(vet):
    make_group(77, milked=False)
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        make(Group, number=77)
    status, where, what = errors.integrity_words(refused.value)
    assert (status, where) == (409, "number")
    assert what == "There is a group with this number already."


@pytest.mark.django_db
def test_a_refusal_of_a_trigger_is_a_conflict():
    group = make_group(milked=False)
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        group.delete()
    found = problem_of(refused.value)
    assert (found.status, found.detail) == (
        409,
        "entries of herd_group are struck, never deleted.",
    )


@pytest.mark.django_db
def test_an_empty_column_is_named():
    group = make_group(milked=False)
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        make(Group, number=None)
    assert problem_of(refused.value).errors[0]["pointer"] == "#/number"
    assert group.pk


@pytest.mark.django_db
def test_the_same_id_twice_is_a_conflict():
    group = make_group(milked=False)
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        make(Group, number=30001, uuid=group.uuid)
    found = problem_of(refused.value)
    assert (found.status, found.detail) == (409, errors.SAME_NUMBER)


@pytest.mark.django_db
def test_a_lost_race_may_be_run_again():
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    error = errors.OperationalError("deadlock")
    error.__cause__ = type("Deadlock", (Exception,), {"sqlstate": "40P01"})()
    found = problem_of(error)
    assert (found.status, found.headers) == (503, {"Retry-After": "1"})


@pytest.mark.django_db
@pytest.mark.parametrize(
    "body",
    [
        {"number": 2**70},
        {"number": -1},
        {"number": 1e300},
        {"number": "1" * 5000},
        {"number": None},
        {"number": [1]},
        {"number": {"a": 1}},
        {"number": 7, "name": "a\x00b"},
        {"number": 7, "name": "x" * 10_000},
        {"number": 7, "name": ["x"]},
        {"number": 7, "use": "\ud800"},
        {"number": 7, "name": "\ud800"},
        {"number": 7, "id": "no uuid"},
        {"number": 7, "id": 12},
        {"number": 7, "zone_offset": 99999},
        {"number": 7, "written_at": "0001-01-01T00:00:00+14:00"},
        {"number": 7, "happened_at": "9999-12-31T23:59:59-12:00"},
        {"number": 7, "happened_at": "0001-01-01T00:00:00+14:00"},
        {"number": 7, "happened_at": "yesterday"},
        {"number": 7, "happened_at": 12},
        {"number": 7, "happened_at": None},
        {"number": 7, "device": "a\x00"},
    ],
)
def test_nonsense_is_refused_at_its_field(vet_api, body):
    answer = vet_api.post(GROUPS, {"happened_at": HAPPENED, **body})
    found = problem(answer, 400)
    assert found["errors"][0]["pointer"].startswith("#/")
    assert not Group.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize("body", ["", "{", "[1, 2]", '"text"', "null", "NaN", b"\xff\xfe", "1e999"])
def test_a_body_that_is_no_object_is_refused(vet_api, body):
    found = problem(vet_api.post(GROUPS, body), 400)
    assert found["detail"]
    assert not Group.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize("value", ["1e400", "NaN", "Infinity", "-0.001", "12,5", "", None, "1e-9"])
def test_a_number_nobody_can_trust_is_refused(vet_api, value):
    animal = make_animal()
    body = {
        "course": str(animal.uuid),
        "quantity": value,
        "happened_at": HAPPENED,
    }
    found = problem(vet_api.post("/api/doses/", body), 400)
    assert "#/quantity" in {error["pointer"] for error in found["errors"]}


@pytest.mark.django_db
def test_wrong_method_format_and_address(vet_api):
    animal = make_animal()
    client = vet_api.client
    key = {"Idempotency-Key": "1"}
    answers = [
        (client.put(f"/api/animals/{animal.uuid}/"), 405),
        (client.delete(f"/api/animals/{animal.uuid}/"), 405),
        (client.post("/api/animals/", "x", content_type="text/plain", headers=key), 415),
        (client.get("/api/unicorns/"), 404),
        (client.get("/api/animals/00000000-0000-0000-0000-000000000000/"), 404),
        (client.get("/api/animals/?cursor=nonsense"), 400),
        (client.get("/api/animals/?size=1000000"), 400),
        (client.get("/api/animals/?hapened_from=2026-01-01"), 400),
        (client.get("/api/animals/?happened_from=soon"), 400),
        (client.get("/api/animals/?farm_number=1e400"), 400),
        (client.get("/api/animals/?ear_tag=%00"), 400),
    ]
    for answer, status in answers:
        found = problem(answer, status)
        assert found["status"] == status
        assert found["detail"]


@pytest.mark.django_db
def test_nobody_signed_in_is_told_how(client):
    answer = client.get(GROUPS)
    problem(answer, 401)
    assert answer["WWW-Authenticate"] == "Token"


@pytest.mark.django_db
def test_a_refusal_that_no_page_catches_is_shown_in_words(vet_client):
    group = make_group(milked=False)
    url = f"/entries/groups/{group.uuid}/strike/"
    vet_client.send(url, reason="twice")
    again = vet_client.send(url, reason="twice")
    assert again.status_code == 409
    assert "struck already" in again.content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/nowhere/", 404),
        ("/entries/unicorns/", 404),
        ("/entries/groups/?cursor=nonsense", 400),
        ("/entries/animals/?farm_number=99999999999999999999", 200),
        ("/entries/animals/?ear_tag=%00", 400),
        ("/find/?q=%00", 200),
        ("/entries/animals/new/?dam=%00", 200),
    ],
)
def test_pages_answer_in_words_too(vet_client, path, status):
    answer = vet_client.get(path)
    assert answer.status_code == status
    assert "<h1" in answer.content.decode()


@pytest.mark.django_db
def test_a_page_that_fails_says_it_is_our_fault(vet_client, monkeypatch):
    vet_client.raise_request_exception = False
    monkeypatch.setattr("config.views.pages.sheet_for", lambda *args: 1 / 0)
    answer = vet_client.get("/")
    assert answer.status_code == 500
    assert "Nothing was saved" in answer.content.decode()
