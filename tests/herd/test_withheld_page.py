"""The withheld list on its page, by API and by command: the same answer three ways."""

import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from herd.finders import animals, groups
from herd.models import TagEvent
from tests.cast import text
from tests.factories.herd import (
    HOUR,
    NOON,
    make,
    make_animal,
    make_course,
    make_dose,
    put_in_group,
)

AT = "2026-06-02T13:00:00+02:00"


@pytest.fixture
def herd(cow, tube, group_5, group_3, dry_group):
    """1042 dosed at NOON in group 5; 1043 free beside her; 1044 free in 3; 1045 dry."""
    for number, group in ((1043, group_5), (1044, group_3), (1045, dry_group)):
        put_in_group(make_animal(number), group)
    make_dose(make_course(cow, medicine=tube))
    return cow


def test_page_names_who_is_out_and_why(herd, milker_client):
    answer = milker_client.get("/herd/withheld/", {"at": AT})
    page = text(answer)
    assert (answer.context["out"], answer.context["free"]) == (1, 2)
    assert "1 NOT, 2 TANK" in page
    assert "Group 5: 1 NOT of 2" in page
    assert "1042" in page
    assert "Sat 6 Jun, 04:30" in page
    assert "84 h after the last dose" in page
    assert "1043" not in page
    assert "all 1 " in page
    assert "1, dry" in page
    assert "as at" in page


def test_page_of_one_group_names_everybody(herd, milker_client):
    page = text(milker_client.get("/herd/withheld/", {"at": AT, "group": "5"}))
    assert "1042" in page
    assert "1043" in page
    assert "1044" not in page


def test_page_before_the_dose(herd, milker_client):
    answer = milker_client.get("/herd/withheld/", {"at": "2026-06-02T11:59"})
    assert answer.context["out"] == 0


def test_page_of_a_dry_group(herd, milker_client):
    page = text(milker_client.get("/herd/withheld/", {"at": AT, "group": "13"}))
    assert "1045" in page
    assert "not milked" in page


def test_empty_estate_says_so(rules, vet_client):
    assert "No animal stands in a group" in text(vet_client.get("/herd/withheld/"))


def test_panel_is_the_list_alone(herd, milker_client):
    answer = milker_client.get("/herd/withheld/", {"at": AT}, headers={"HX-Request": "true"})
    assert "1042" in text(answer)
    assert "<html" not in text(answer)


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({"at": "noon"}, "no date and time"),
        ({"at": "2026-03-29T02:30"}, "did not exist"),
        ({"group": "99"}, "There is no group 99"),
        ({"group": "five"}, "whole number"),
    ],
)
def test_wrong_question_gets_no_list(herd, milker_client, query, words):
    answer = milker_client.get("/herd/withheld/", query)
    assert answer.status_code == 400
    assert words in text(answer)
    assert "TANK</span>" not in text(answer)


def test_page_needs_a_role(herd, client, nobody_client):
    assert client.get("/herd/withheld/").status_code == 302
    assert nobody_client.get("/herd/withheld/").status_code == 403


def test_api_says_the_same(herd, inspector_api):
    answer = inspector_api.get("/api/withheld/", at=AT)
    assert answer.status_code == 200
    body = answer.json()
    assert body["at"] == AT
    told = {animal["name"]: animal for animal in body["animals"]}
    assert {name: animal["answer"] for name, animal in told.items()} == {
        "1042": "NOT",
        "1043": "TANK",
        "1044": "TANK",
        "1045": "NOT",
    }
    assert told["1042"] == {
        "id": str(herd.uuid),
        "name": "1042",
        "ear_tag": herd.ear_tag,
        "group": 5,
        "milked": True,
        "answer": "NOT",
        "until": "2026-06-06T00:00:00+02:00",
        "back": "2026-06-06T04:30:00+02:00",
        "why": ["Tube A: 84 h after the last dose Tue 02 Jun 12:00"],
    }
    assert told["1045"]["milked"] is False


def test_api_narrows_by_group_and_answer(herd, inspector_api):
    body = inspector_api.get("/api/withheld/", at=AT, group=5, answer="TANK").json()
    assert [animal["name"] for animal in body["animals"]] == ["1043"]


@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        ({"at": "2026-06-02T13:00:00"}, "#/at"),
        ({"at": "noon"}, "#/at"),
        ({"group": "99"}, "#/group"),
        ({"answer": "MAYBE"}, "#/answer"),
    ],
)
def test_api_refuses_a_wrong_question(herd, inspector_api, query, pointer):
    answer = inspector_api.get("/api/withheld/", **query)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] == pointer


def test_api_needs_a_role(herd, client, nobody_api):
    assert client.get("/api/withheld/").status_code == 401
    assert nobody_api.get("/api/withheld/").status_code == 403


def printed(*args) -> str:
    out = StringIO()
    call_command("withheld", *args, stdout=out)
    return out.getvalue()


def test_command_prints_for_people(herd):
    lines = printed("--at", "2026-06-02T13:00").splitlines()
    assert "1 NOT, 2 TANK, 1 in groups that are not milked" in lines[0]
    assert len(lines) == 3
    assert "1042" in lines[1]
    assert "back Sat 06 Jun 2026 04:30" in lines[1]


def test_command_prints_for_programs(herd, inspector_api):
    told = json.loads(printed("--at", AT, "--json"))
    assert told["animals"] == inspector_api.get("/api/withheld/", at=AT).json()["animals"]


def test_command_narrows_by_group(herd):
    assert "0 NOT, 1 TANK" in printed("--at", AT, "--group", "3")


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["--at", "noon"], "no date and time"),
        (["--group", "99"], "Expected one of 3, 5, 13"),
    ],
)
def test_command_refuses_a_wrong_question(herd, args, words):
    with pytest.raises(CommandError, match=words):
        printed(*args)


def test_herd_page_counts_heads(herd, feed_hand_client):
    make_dose(make_course(herd, happened_at=timezone.now() - HOUR))
    answer = feed_hand_client.get("/herd/")
    assert answer.status_code == 200
    counted = {row["group"].number: (row["heads"], row["out"]) for row in answer.context["rows"]}
    assert counted == {3: (1, 0), 5: (2, 1), 13: (1, 1)}
    assert "3 in milk, 1 NOT in the tank" in text(answer)


def test_search_finds_animals_and_groups(herd, vet_client):
    make(TagEvent, animal=herd, what="replaced", ear="L", new_tag="999000000000099", proof="other")
    for words in ("1042", herd.ear_tag, "999 0000.00000099"):
        assert [url for _, url in animals(words)] == [f"/herd/animals/{herd.uuid}/"]
    assert [url for _, url in groups("Group 5")] == ["/herd/withheld/?group=5"]
    assert list(animals("nothing")) == []
    assert list(groups("12345678901234567890")) == []
    assert "1042" in text(vet_client.get("/find/", {"q": "1042"}))


def test_list_is_read_in_few_statements(herd, milker_client, django_assert_max_num_queries):
    with django_assert_max_num_queries(12):
        milker_client.get("/herd/withheld/", {"at": NOON.isoformat()})
