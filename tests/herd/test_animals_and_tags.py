"""One farm number and one ear tag lead to one animal, also years later."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError

from herd.models import Animal, TagEvent
from herd.services.animals import correct_animal, record_animal, record_tag_event
from tests.factories.herd import DAY, NOON, make_animal, make_stamp, put_in_group

TAG = "999000000001042"


def arrive(ear_tag=TAG, **fields) -> Animal:
    """An animal through the service."""
    return record_animal(stamp=make_stamp(), ear_tag=ear_tag, **fields)


def replace(animal, new_tag, **fields) -> TagEvent:
    """A replaced tag through the service."""
    fields = {"what": "replaced", "ear": "L", "proof": "the other ear", **fields}
    return record_tag_event(stamp=make_stamp(), animal=animal, new_tag=new_tag, **fields)


def test_tag_is_kept_plain(db):
    assert arrive("de 09.876-54321").ear_tag == "DE0987654321"


def test_animal_is_found_by_everything_she_is_called(db):
    animal = arrive(farm_number=1042)
    replace(animal, "999 0000 0000 7777")
    for words in ("1042", TAG, "999000000007777", str(animal.uuid)):
        assert Animal.find(words) == animal
    assert animal.current_tag() == "999000000007777"


@pytest.mark.parametrize("words", ["9999", "", "no such cow", "0", "999"])
def test_nobody_is_called_so(db, words):
    arrive(farm_number=1042)
    with pytest.raises(Animal.DoesNotExist, match="Expected a farm number"):
        Animal.find(words)


def test_two_called_the_same_are_told_apart_by_the_tag(db):
    make_animal(1042)
    make_animal(1042)
    with pytest.raises(ValueError, match="Use the ear tag"):
        Animal.find("1042")


def test_number_of_a_cow_on_the_estate_is_taken(db):
    arrive(farm_number=1042)
    with pytest.raises(ValidationError, match="who is on the estate") as error:
        arrive("999000000001043", farm_number=1042)
    assert list(error.value.message_dict) == ["farm_number"]


@pytest.mark.parametrize(("years", "free"), [(1, False), (4.9, False), (5.1, True)])
def test_number_rests_five_years(rules, group_5, years, free):
    old = make_animal(1042)
    gone = NOON - timedelta(days=365 * years)
    put_in_group(old, group_5, gone - DAY)
    put_in_group(old, None, gone, leaving="died")
    if free:
        assert arrive(farm_number=1042).farm_number == 1042
        return
    with pytest.raises(ValidationError, match="left not long ago"):
        arrive(farm_number=1042)


def test_nobody_is_born_after_she_was_there(office_client, office_api, group_5):
    body = {"ear_tag": "999000000001077", "sex": "F", "happened_at": NOON.isoformat()}
    late = (NOON + DAY).date().isoformat()
    told = office_api.post("/api/animals/", {**body, "born_on": late})
    assert [one["pointer"] for one in told.json()["errors"]] == ["#/born_on"]
    page = office_client.send(
        "/herd/arrive/", **body, born_on=late, group="5", breed="", arrived_from=""
    )
    assert "Look at both days" in page.content.decode()
    assert not Animal.objects.exists()
    born_here = {**body, "born_on": NOON.date().isoformat()}
    assert office_api.post("/api/animals/", born_here).status_code == 201


def test_tag_worn_by_another_is_taken(db):
    arrive()
    with pytest.raises(ValidationError, match="is worn by") as error:
        arrive(TAG)
    assert list(error.value.message_dict) == ["ear_tag"]


def test_new_tag_worn_by_another_is_taken(db):
    arrive()
    with pytest.raises(ValidationError, match="is worn by") as error:
        replace(make_animal(), TAG)
    assert list(error.value.message_dict) == ["new_tag"]


def test_tag_of_a_replacement_is_taken_as_well(db):
    replace(make_animal(), TAG)
    with pytest.raises(ValidationError, match="is worn by"):
        arrive(TAG)


def test_correction_may_keep_her_own_number_and_tag(db):
    animal = arrive(farm_number=1042)
    again = correct_animal(
        animal,
        stamp=make_stamp(),
        reason="other",
        words="breed",
        ear_tag=TAG,
        farm_number=1042,
        breed="BS",
    )
    assert (again.pk, again.breed, again.replaces.breed) == (animal.pk, "BS", "")


def test_correction_may_not_take_anothers(db):
    arrive(farm_number=1042)
    other = make_animal()
    with pytest.raises(ValidationError, match="1042 is the farm number of"):
        correct_animal(
            other, stamp=make_stamp(), reason="animal", ear_tag=other.ear_tag, farm_number=1042
        )


@pytest.mark.parametrize(
    "tag", ["cow 5", "3.8E+11", "99900000000104299", "", "DE", "999-", "９９９000000001042"]
)
def test_what_is_no_ear_tag_is_refused(db, tag):
    with pytest.raises(ValidationError) as error:
        arrive(tag)
    assert list(error.value.message_dict) == ["ear_tag"]
    assert not Animal.objects.exists()


def test_replaced_tag_needs_its_proof(db):
    with pytest.raises(ValidationError, match="how she was known"):
        replace(make_animal(), TAG, proof="")


def test_lost_tag_needs_no_new_one(db):
    event = record_tag_event(stamp=make_stamp(), animal=make_animal(), what="lost", ear="R")
    assert event.new_tag == ""


@pytest.mark.parametrize("typed", ["DE 09.876-54321", "de 0 9 8 7 6 5 4 3 2 1", "DE0987654321"])
def test_tag_typed_with_spaces_is_taken_by_the_page_of_animals(office_client, typed):
    page = office_client.get("/entries/animals/new/").content.decode()
    assert 'name="ear_tag" maxlength="30"' in page
    sent = {"ear_tag": typed, "sex": "F", "electronic_number": "276 000 000 000 123"}
    answer = office_client.send("/entries/animals/new/", **sent, happened_at="2026-06-02T12:00")
    assert answer.status_code == 302
    animal = Animal.objects.get()
    assert (animal.ear_tag, animal.electronic_number) == ("DE0987654321", "276000000000123")


def test_new_tag_typed_with_spaces_is_taken_by_the_page_of_tag_events(vet_client):
    animal = make_animal(1042)
    sent = {"animal": "1042", "what": "replaced", "ear": "L", "proof": "photo"}
    answer = vet_client.send(
        "/entries/tag-events/new/",
        **sent,
        new_tag="999 0000 0000 7777",
        happened_at="2026-06-02T12:00",
    )
    assert answer.status_code == 302
    assert animal.current_tag() == "999000000007777"


@pytest.mark.parametrize("typed", ["999 0000 0000 7777 1", "DE " * 12, "999 0000"])
def test_wrong_tag_typed_with_spaces_is_refused_at_its_field(office_client, typed):
    sent = {"ear_tag": typed, "sex": "F", "happened_at": "2026-06-02T12:00"}
    answer = office_client.send("/entries/animals/new/", **sent)
    assert answer.status_code in (200, 400)
    assert list(answer.context["form"].errors) == ["ear_tag"]
    assert not Animal.objects.exists()


def test_tags_are_taken_by_api_as_they_are_written(db, office_api, vet_api):
    body = {
        "id": str(uuid4()),
        "ear_tag": "999 0000 0000 1234",
        "electronic_number": "999.0000.0000.1234",
        "happened_at": NOON.isoformat(),
    }
    made = office_api.post("/api/animals/", body)
    assert made.status_code == 201, made.json()
    told = made.json()
    assert told["ear_tag"] == told["electronic_number"] == "999000000001234"
    # Sent again under its id, in another spelling, it is the same animal.
    again = office_api.post("/api/animals/", body | {"ear_tag": "999-000000001234"})
    assert (again.status_code, again.json()["id"]) == (200, told["id"])
    found = office_api.get("/api/animals/", ear_tag="999 000000001234").json()["results"]
    assert [one["id"] for one in found] == [told["id"]]
    event = {
        "animal": told["id"],
        "what": "replaced",
        "ear": "L",
        "new_tag": "999 0000 0000 7777",
        "proof": "the other ear",
        "happened_at": NOON.isoformat(),
    }
    assert vet_api.post("/api/tag-events/", event).json()["new_tag"] == "999000000007777"


@pytest.mark.parametrize(
    ("tag", "words"),
    [
        ("3.8E+11", "a spreadsheet has shortened"),
        ("99900000001234", "has lost the zero in front"),
        ("nobody", "is no ear tag"),
        ("999 0000 0000 1234 0000 0000 0000", "no more than 30"),
    ],
)
def test_broken_tag_is_refused_by_api_at_its_field(db, office_api, tag, words):
    body = {"ear_tag": tag, "happened_at": NOON.isoformat()}
    refused = office_api.post("/api/animals/", body)
    assert refused.status_code == 400
    error = refused.json()["errors"][0]
    assert (error["pointer"], words in error["detail"]) == ("#/ear_tag", True), error
    assert not Animal.objects.exists()
