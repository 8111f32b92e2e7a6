"""A round of pregnancy checks by a program: one act, all or nothing."""

from uuid import uuid4

import pytest
from django.utils import timezone

from herd.models import PregnancyCheck
from tests.factories.herd import DAY, NOON, make_animal

ROUND = "/api/pregnancy-checks/round/"


@pytest.fixture
def round_of_checks(rules):
    """The body of a round of two cows."""
    cows = [make_animal(21), make_animal(22)]
    found = [
        {"animal": str(cows[0].uuid), "result": "in calf", "days": 33},
        {"animal": str(cows[1].uuid), "result": "empty"},
    ]
    return {"happened_at": NOON.isoformat(), "way": "scan", "cows": found}


def test_round_of_checks_by_api_is_one_act(round_of_checks, vet_api, stockman_api):
    assert stockman_api.post(ROUND, round_of_checks).status_code == 403
    made = vet_api.post(ROUND, round_of_checks, key="round-7")
    assert made.status_code == 201, made.json()
    assert [(one["result"], one["days"]) for one in made.json()] == [
        ("in calf", 33),
        ("empty", None),
    ]
    again = vet_api.post(ROUND, round_of_checks, key="round-7")
    assert (again.json(), PregnancyCheck.objects.count()) == (made.json(), 2)


@pytest.mark.parametrize(
    ("spoil", "pointer", "words"),
    [
        pytest.param({"sex": "M"}, "#/cows/1/animal", "is male", id="a male"),
        pytest.param({"result": "maybe"}, "#/cows/1/result", "not a valid choice", id="result"),
        pytest.param({"days": 5}, "#/cows/1/days", "20", id="days"),
        pytest.param({"dyas": 50}, "#/cows/1/dyas", "not known here", id="a key misspelt"),
        pytest.param({"again": True}, "#/cows/1/animal", "twice", id="the same cow twice"),
    ],
)
def test_wrong_cow_of_a_round_leaves_nothing_behind(
    round_of_checks, vet_api, spoil, pointer, words
):
    if "sex" in spoil:
        spoil = {"animal": str(make_animal(9, sex="M").uuid)}
    if "again" in spoil:
        spoil = {"animal": round_of_checks["cows"][0]["animal"]}
    round_of_checks["cows"][1] |= spoil
    refused = vet_api.post(ROUND, round_of_checks)
    assert refused.status_code == 400
    error = refused.json()["errors"][0]
    assert (error["pointer"], words in error["detail"]) == (pointer, True), error
    assert not PregnancyCheck.objects.exists()


def test_round_of_nobody_or_of_tomorrow_is_refused(round_of_checks, vet_api):
    ahead = (timezone.now() + DAY).isoformat()
    for body in ({"cows": []}, {"happened_at": ahead}, {"id": str(uuid4())}):
        assert vet_api.post(ROUND, round_of_checks | body).status_code == 400, body
    assert not PregnancyCheck.objects.exists()
