"""Several cows moved at once, arrivals, leaving: what both lists say, and what is refused."""

from datetime import timedelta

import pytest
from django.utils import timezone

from config.models import Notice
from herd.models import Animal, Group, GroupStay
from herd.withheld import answer_for
from tests.factories.herd import (
    DAY,
    HOUR,
    NOON,
    make_animal,
    make_course,
    make_dose,
    make_medicine,
    put_in_group,
)
from tests.herd.arithmetic import at

WHEN = "2026-06-06T11:00"


@pytest.fixture
def three(rules, group_5) -> list[Animal]:
    cows = [make_animal(number) for number in (11, 12, 13)]
    for cow in cows:
        put_in_group(cow, group_5)
    return cows


def uuids(cows):
    return [str(cow.uuid) for cow in cows]


def test_t10_moved_while_withheld(cow, tube, group_3, stockman_client):
    # 1042 withheld until Saturday 16:30; moved to group 3 (16:10) on Saturday 11:00.
    make_dose(make_course(cow, medicine=tube, happened_at=at("2026-06-02 17:00")))
    sent = {"animals": uuids([cow]), "group": "3", "happened_at": "2026-06-06T04:50", "note": ""}
    done = stockman_client.send("/herd/move/?from=5", **sent)
    assert done.status_code == 302
    assert answer_for(cow, at("2026-06-06 04:55")).back == at("2026-06-06 16:10")
    told = Notice.objects.filter(cause__startswith="moved:", closed_at=None)
    assert told.count() == 1
    assert "group 5" in told.get().what
    assert "group 3" in told.get().what


def test_several_move_at_once(three, group_3, stockman_client):
    page = stockman_client.get("/herd/move/?from=5")
    assert [label for _, label in page.context["form"].fields["animals"].choices] == [
        "0011, TANK",
        "0012, TANK",
        "0013, TANK",
    ]
    sent = {"animals": uuids(three[:2]), "group": "3", "happened_at": WHEN, "note": "calm"}
    assert stockman_client.send("/herd/move/?from=5", **sent).status_code == 302
    there = GroupStay.objects.at(NOON + 30 * DAY)
    assert there.filter(group=group_3).count() == 2
    assert there.get(animal=three[2]).group.number == 5


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"animals": []}, "animals"),
        ({"group": "77"}, "group"),
        ({"group": ""}, "group"),
        ({"happened_at": "2099-01-01T00:00"}, "happened_at"),
        ({"animals": ["6d1f7f0e-8a35-4c53-9a07-0f3a1f9a8c11"]}, "animals"),
    ],
)
def test_wrong_moves_move_nobody(three, group_3, stockman_client, changed, field):
    sent = {"animals": uuids(three), "group": "3", "happened_at": WHEN, "note": "", **changed}
    refused = stockman_client.send("/herd/move/?from=5", **sent)
    assert refused.status_code == 200
    assert field in refused.context["form"].errors
    assert not GroupStay.objects.filter(group=group_3).exists()


def test_two_groups_at_once_are_refused(three, group_3, stockman_client, stockman_api):
    put_in_group(three[0], group_3, at("2026-06-06 11:00"))
    sent = {"animals": uuids(three[:1]), "group": "5", "happened_at": WHEN, "note": ""}
    # She stands in group 3 by now: the page of group 5 does not offer her any more.
    assert stockman_client.send("/herd/move/?from=5", **sent).status_code == 200
    body = {
        "animals": uuids(three),
        "group": str(Group.objects.get(number=5).uuid),
        "happened_at": at("2026-06-06 11:00").isoformat(),
    }
    refused = stockman_api.post("/api/group-stays/many/", body)
    assert refused.status_code == 409
    assert "another move at exactly" in refused.json()["detail"]
    assert GroupStay.objects.count() == 4


def test_many_by_api_are_all_or_none(three, group_3, stockman_api, inspector_api):
    body = {
        "animals": uuids(three),
        "group": str(group_3.uuid),
        "happened_at": at("2026-06-06 11:00").isoformat(),
    }
    assert inspector_api.post("/api/group-stays/many/", body).status_code == 403
    assert stockman_api.post("/api/group-stays/many/", {**body, "animals": []}).status_code == 400
    made = stockman_api.post("/api/group-stays/many/", body)
    assert made.status_code == 201, made.json()
    assert len(made.json()) == 3


def test_arrival_is_an_animal_in_a_group_and_not_yet_in_the_tank(rules, group_5, office_client):
    sent = {
        "happened_at": WHEN,
        "ear_tag": "999 0000 0000 4711",
        "farm_number": "4711",
        "sex": "F",
        "breed": "BS",
        "group": "5",
        "note": "paper 7",
    }
    done = office_client.send("/herd/arrive/", **sent)
    assert done.status_code == 302
    animal = Animal.objects.get(farm_number=4711)
    assert animal.ear_tag == "999000000004711"
    assert GroupStay.objects.get(animal=animal).note == "paper 7"
    again = office_client.send("/herd/arrive/", **{**sent, "farm_number": "4712"})
    assert "is worn by" in str(again.context["form"].errors["ear_tag"])
    assert Animal.objects.count() == 1


@pytest.mark.parametrize(
    ("changed", "pointer"),
    [
        ({"ear_tag": "3.8E+11"}, "#/ear_tag"),
        ({"electronic_number": "276999999999999"}, "#/electronic_number"),
        ({"group": None}, "#/group"),
        ({"farm_number": 10000}, "#/farm_number"),
    ],
)
def test_wrong_arrivals_by_api(rules, group_5, office_api, changed, pointer):
    body = {
        "ear_tag": "999000000004711",
        "group": str(group_5.uuid),
        "happened_at": NOON.isoformat(),
        **changed,
    }
    refused = office_api.post("/api/animals/arrive/", body)
    assert refused.status_code == 400
    assert [one["pointer"] for one in refused.json()["errors"]] == [pointer]
    assert not Animal.objects.exists()


def test_arrival_by_api(rules, group_5, office_api, milker_api):
    body = {
        "ear_tag": "999000000004711",
        "group": str(group_5.uuid),
        "happened_at": NOON.isoformat(),
    }
    assert milker_api.post("/api/animals/arrive/", body).status_code == 403
    made = office_api.post("/api/animals/arrive/", body)
    assert made.status_code == 201, made.json()
    assert GroupStay.objects.get(animal__uuid=made.json()["id"]).group == group_5


@pytest.mark.parametrize(
    ("leaving", "when", "allowed"),
    [
        # T11: meat 10 days from 3 June 17:00.
        pytest.param("slaughter", "2026-06-12 10:00", False, id="inside"),
        pytest.param("slaughter", "2026-06-13 16:59", False, id="a minute before"),
        pytest.param("slaughter", "2026-06-13 17:00", True, id="at its moment"),
        pytest.param("died", "2026-06-12 10:00", True, id="died"),
        pytest.param("destroyed", "2026-06-12 10:00", True, id="destroyed"),
        pytest.param("sold", "2026-06-12 10:00", False, id="sold without a paper"),
    ],
)
def test_t11_meat_blocks_slaughter(cow, tube, office_api, leaving, when, allowed):
    make_dose(make_course(cow, medicine=tube, happened_at=at("2026-06-03 17:00")))
    body = {"animal": str(cow.uuid), "leaving": leaving, "happened_at": at(when).isoformat()}
    answer = office_api.post("/api/group-stays/", body)
    assert answer.status_code == (201 if allowed else 400), answer.json()
    if leaving == "sold":
        assert answer.json()["errors"][0]["pointer"] == "#/note"
        assert office_api.post("/api/group-stays/", {**body, "note": "paper 9"}).status_code == 201


def test_meat_nobody_knows_blocks_without_an_end(cow, office_api):
    medicine = make_medicine(84, meat_days=None)
    make_dose(make_course(cow, medicine=medicine))
    body = {
        "animal": str(cow.uuid),
        "leaving": "slaughter",
        "happened_at": (NOON + 90 * DAY).isoformat(),
    }
    refused = office_api.post("/api/group-stays/", body)
    assert refused.status_code == 400
    assert "the vet has said until when" in refused.json()["detail"]


def test_checks_of_a_round(rules, group_5, vet_client, stockman_client):
    from_now = timezone.now()
    cows = [make_animal(number) for number in (21, 22, 23)]
    for cow in cows:
        put_in_group(cow, group_5)
        answer = vet_client.send(
            "/entries/services/new/",
            animal=str(cow.uuid),
            bull="straw 7",
            happened_at=(from_now - timedelta(days=33)).strftime("%Y-%m-%dT%H:%M"),
        )
        assert answer.status_code == 302
    assert stockman_client.get("/herd/breeding/checks/").status_code == 403
    when = (from_now - HOUR).strftime("%Y-%m-%dT%H:%M")
    sent = {"way": "scan", "happened_at": when}
    nothing = vet_client.send("/herd/breeding/checks/", **sent)
    assert "Nothing is said of any cow" in nothing.content.decode()
    alone = vet_client.send("/herd/breeding/checks/", **sent, **{f"days_{cows[0].uuid}": "33"})
    assert f"result_{cows[0].uuid}" in alone.context["form"].errors
    found = {
        f"result_{cows[0].uuid}": "in calf",
        f"days_{cows[0].uuid}": "33",
        f"result_{cows[1].uuid}": "empty",
    }
    assert vet_client.send("/herd/breeding/checks/", **sent, **found).status_code == 302
    left = vet_client.get("/herd/breeding/checks/").context["form"].cows
    assert [row.name for row in left] == ["0023"]


def test_dry_off_page_says_which_tube_fits(rules, group_5, vet_client):
    cow = make_animal(1042, breed="")
    put_in_group(cow, group_5)
    path = f"/herd/animals/{cow.uuid}/dry-off/"
    assert "Nobody knows when she is due" in vet_client.get(path).content.decode()
    when = (timezone.now() - HOUR).strftime("%Y-%m-%dT%H:%M")
    refused = vet_client.send(path, cover="tube", happened_at=when)
    assert "needs the product" in refused.content.decode()
    done = vet_client.send(path, cover="seal", happened_at=when, grounds="low cells")
    assert done.status_code == 302
    assert answer_for(cow, timezone.now()).withheld


@pytest.mark.parametrize("asked", ["99", "five", "-5"])
def test_a_group_nobody_has_is_said_with_those_there_are(stockman_client, group_5, asked):
    page = stockman_client.get(f"/herd/move/?from={asked}")
    assert page.status_code == 400
    assert f"There is no group “{asked}”" in page.content.decode()
    assert "?from=5" in page.content.decode()
