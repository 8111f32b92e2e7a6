"""What a course would cost and plans ordered, by API."""

from decimal import Decimal

import pytest

from herd.models import Course, Dose, TreatmentPlan
from tests.factories.herd import NOON, make, make_animal, make_medicine, make_recording
from tests.herd.arithmetic import at

PREVIEW = "/api/treatments/preview/"


@pytest.fixture
def plan(tube) -> TreatmentPlan:
    found: TreatmentPlan = make(
        TreatmentPlan,
        name="clots",
        diagnosis="mastitis",
        medicine=tube,
        dose=Decimal(1),
        doses=3,
        interval_hours=12,
    )
    return found


def test_cost_of_a_plan(vet_api, cow, plan):
    # T1.
    make_recording(cow, milk_kg=Decimal(24), happened_at=NOON)
    body = {"animal": str(cow.uuid), "plan": str(plan.uuid)}
    body["happened_at"] = at("2026-06-02 17:00").isoformat()
    answer = vet_api.post(PREVIEW, body, key="")
    assert answer.status_code == 200, answer.json()
    assert answer.json() == {
        "happened_at": "2026-06-02T17:00:00+02:00",
        "ends": "2026-06-07T05:00:00+02:00",
        "why": "Tube A: 84 h after the last planned dose Wed 03 Jun 17:00, 3 to give",
        "until": "2026-06-07T05:00:00+02:00",
        "back": "2026-06-07T16:30:00+02:00",
        "milkings": 9,
        "already": 0,
        "meat_until": answer.json()["meat_until"],
        "meat_open": False,
        "kg": "108.0",
        "kg_from": "her recording of 2026-06-02",
        "eur": "81.00",
        "better": {"minutes": -30, "saves": 1, "back": "2026-06-07T04:30:00+02:00"},
    }
    assert not Course.objects.exists()


def test_plan_with_changes(vet_api, cow, plan):
    body = {"animal": str(cow.uuid), "plan": str(plan.uuid), "doses": 1}
    body["happened_at"] = at("2026-06-02 10:00").isoformat()
    told = vet_api.post(PREVIEW, body, key="").json()
    assert (told["back"], told["milkings"], told["better"]) == (
        "2026-06-06T04:30:00+02:00",
        7,
        None,
    )


@pytest.mark.parametrize(
    ("changed", "pointer", "words"),
    [
        ({"doses": 5}, "#/doses", "at most 3 doses"),
        ({"doses": 0}, "#/doses", "1"),
        ({"off_leaflet": True, "own_milk_hours": "96"}, "#/own_milk_hours", "144 h"),
        ({"happened_at": "2026-06-02T17:00:00"}, "#/happened_at", "offset"),
        ({"happened_at": "2190-06-02T17:00:00Z"}, "#/happened_at", "days ahead"),
        ({"moon": 1}, "#/moon", "not known"),
        ({"animal": "x"}, "#/animal", "no animal"),
    ],
)
def test_cost_is_refused_as_the_order_would_be(vet_api, cow, plan, changed, pointer, words):
    body = {"animal": str(cow.uuid), "plan": str(plan.uuid), **changed}
    answer = vet_api.post(PREVIEW, body, key="")
    assert answer.status_code == 400
    (error,) = answer.json()["errors"]
    assert error["pointer"] == pointer
    assert words in error["detail"]


def test_cost_of_nothing_is_refused(vet_api, cow):
    answer = vet_api.post(PREVIEW, {"animal": str(cow.uuid)}, key="")
    assert answer.status_code == 400
    assert "Name a plan, or a medicine" in answer.json()["errors"][0]["detail"]


@pytest.mark.parametrize("role", ["stockman", "milker", "inspector", "nobody"])
def test_only_the_vet_is_told_the_cost_and_orders(request, cow, plan, role):
    api = request.getfixturevalue(f"{role}_api")
    body = {"animal": str(cow.uuid), "plan": str(plan.uuid)}
    assert api.post(PREVIEW, body).status_code == 403
    sent = {"animal": str(cow.uuid), "happened_at": NOON.isoformat()}
    assert api.post(f"/api/treatment-plans/{plan.uuid}/order/", sent).status_code == 403
    assert not Course.objects.exists()


def test_plan_is_ordered_with_its_first_dose(vet_api, cow, plan):
    dose = {"quarter": "LF", "batch": "B1", "expires_on": "2027-01-31"}
    sent = {"animal": str(cow.uuid), "happened_at": NOON.isoformat(), "first_dose": dose}
    path = f"/api/treatment-plans/{plan.uuid}/order/"
    answers = [vet_api.post(path, sent, key="one") for _ in range(2)]
    assert [answer.status_code for answer in answers] == [201, 201]
    course, given = Course.objects.get(), Dose.objects.get()
    assert answers[0].json() == {"course": str(course.uuid), "doses": [str(given.uuid)]}
    assert (course.plan, course.doses, given.quarter, given.batch) == (plan, 3, "LF", "B1")


def test_plan_without_a_dose(vet_api, cow, plan):
    sent = {"animal": str(cow.uuid), "happened_at": NOON.isoformat()}
    answer = vet_api.post(f"/api/treatment-plans/{plan.uuid}/order/", sent)
    assert answer.json()["doses"] == []


def test_plan_that_the_leaflet_no_longer_allows_is_refused(vet_api, cow, tube, plan):
    tube.versions.update(struck_at=NOON, struck_by=plan.by, struck_reason="other")
    never = {"medicine": str(tube.uuid), "valid_from": "2020-01-01", "milk": "never"}
    body = {**never, "source": "leaflet, invented", "happened_at": NOON.isoformat()}
    assert vet_api.post("/api/medicine-versions/", body).status_code == 201
    sent = {"animal": str(cow.uuid), "happened_at": NOON.isoformat()}
    answer = vet_api.post(f"/api/treatment-plans/{plan.uuid}/order/", sent)
    assert answer.status_code == 400
    assert "not for animals that give milk" in answer.json()["errors"][0]["detail"]
    assert not Course.objects.exists()


def test_unknown_and_struck_plans(vet_api, cow, plan):
    sent = {"animal": str(cow.uuid), "happened_at": NOON.isoformat()}
    assert vet_api.post(f"/api/treatment-plans/{cow.uuid}/order/", sent).status_code == 404
    assert vet_api.post(f"/api/treatment-plans/{plan.uuid}/strike/", {"reason": "twice"})
    answer = vet_api.post(f"/api/treatment-plans/{plan.uuid}/order/", sent)
    assert answer.status_code == 409
    assert "was struck" in answer.json()["detail"]


def test_plan_below_the_floor_is_not_kept(vet_api, tube):
    body = {
        "name": "long",
        "diagnosis": "mastitis",
        "medicine": str(tube.uuid),
        "route": "udder",
        "dose": "1",
        "doses": 5,
        "interval_hours": 12,
        "off_leaflet": True,
        "own_milk_hours": "96",
        "happened_at": NOON.isoformat(),
    }
    answer = vet_api.post("/api/treatment-plans/", body)
    assert answer.status_code == 400, answer.json()


def test_cost_of_an_animal_that_stands_nowhere(vet_api, rules, plan):
    stray = make_animal()
    body = {"animal": str(stray.uuid), "plan": str(plan.uuid)}
    told = vet_api.post(PREVIEW, body, key="").json()
    assert (told["back"], told["milkings"], told["kg"]) == (None, None, None)
    assert told["until"]


def test_off_leaflet_of_a_leaflet_in_milkings_has_a_floor(vet_api, cow):
    # 7 milkings are 84 h; times 1.5, in whole days: 144 h.
    counted = make_medicine(None, milk_milkings=7)
    body = {"animal": str(cow.uuid), "medicine": str(counted.uuid), "dose": "1", "doses": 1}
    answer = vet_api.post(PREVIEW, {**body, "off_leaflet": True, "own_milk_hours": "120"}, key="")
    assert "144 h" in answer.json()["errors"][0]["detail"]
