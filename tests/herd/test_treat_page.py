"""A course and its first dose on one page, from the animal."""

from decimal import Decimal

import pytest

from herd.models import Course, Dose
from herd.withheld import answer_for
from tests.factories.herd import HOUR, NOON, make_medicine


@pytest.fixture
def path(cow) -> str:
    return f"/herd/animals/{cow.uuid}/treat/"


def fields(product, **changed):
    """The form as a vet fills it in; a field of None is left out."""
    sent = {
        "happened_at": "2026-06-02T12:00",
        "given": "on",
        "quarter": ["LF", "RH"],
        "medicine": str(product.uuid),
        "diagnosis": "mastitis LF RH",
        "route": "udder",
        "dose": "1",
        "doses": "3",
        "interval_hours": "12",
        "batch": "B1",
        "expires_on": "2027-01-31",
        **changed,
    }
    return {name: value for name, value in sent.items() if value is not None}


def test_vet_treats_a_cow(vet_client, path, cow, tube):
    answer = vet_client.send(path, **fields(tube))
    assert (answer.status_code, answer.url) == (302, f"/herd/animals/{cow.uuid}/")
    course = Course.objects.get()
    dose = Dose.objects.get()
    assert (course.animal, course.doses, course.happened_at) == (cow, 3, NOON)
    assert (dose.course, dose.quarter, dose.batch) == (course, "LF,RH", "B1")
    assert (dose.quantity, dose.happened_at, dose.by.username) == (Decimal(1), NOON, "vet")
    assert answer_for(cow, NOON).until == NOON + 108 * HOUR


def test_course_without_its_first_dose(vet_client, path, tube):
    assert vet_client.send(path, **fields(tube, given=None, quarter=None)).status_code == 302
    assert (Course.objects.count(), Dose.objects.count()) == (1, 0)


def test_decimal_comma_is_taken(vet_client, path, tube):
    assert vet_client.send(path, **fields(tube, dose="1,5")).status_code == 302
    assert Course.objects.get().dose == Decimal("1.5")


def test_form_sent_twice_is_one_course(vet_client, path, tube):
    answers = [vet_client.send(path, once="one-form", **fields(tube)) for _ in range(2)]
    assert {answer.status_code for answer in answers} == {302}
    assert (Course.objects.count(), Dose.objects.count()) == (1, 1)


@pytest.mark.parametrize("role", ["stockman", "milker", "feed_hand", "inspector", "nobody"])
def test_only_the_vet_may(request, path, tube, role):
    client = request.getfixturevalue(f"{role}_client")
    assert client.get(path).status_code == 403
    assert client.send(path, **fields(tube)).status_code == 403
    assert not Course.objects.exists()


@pytest.mark.parametrize(
    ("changed", "where", "words"),
    [
        ({"doses": "5"}, "doses", "at most 3 doses"),
        ({"off_leaflet": "on"}, "own_milk_hours", "144 h"),
        ({"off_leaflet": "on", "own_milk_hours": "96"}, "own_milk_hours", "144 h"),
        ({"expires_on": "2026-06-01"}, "expires_on", "expired"),
        ({"quarter": ["XX"]}, "quarter", "XX"),
        ({"happened_at": "2999-01-01T00:00"}, "happened_at", "range"),
        ({"happened_at": "2026-03-29T02:30"}, "happened_at", "did not exist"),
        ({"happened_at": "yesterday"}, "happened_at", "no date and time"),
        ({"dose": "one"}, "dose", "not a number"),
        ({"medicine": ""}, "medicine", "Choose"),
        ({"diagnosis": ""}, "diagnosis", "Fill"),
    ],
)
def test_wrong_input_is_told_at_its_field(vet_client, path, tube, changed, where, words):
    answer = vet_client.send(path, **fields(tube, **changed))
    assert answer.status_code == 200
    assert words in " ".join(answer.context["form"].errors[where])
    assert not Course.objects.exists()
    assert not Dose.objects.exists()


def test_medicine_never_for_cows_in_milk_is_told_at_the_medicine(vet_client, path):
    never = make_medicine(None, milk="never")
    answer = vet_client.send(path, **fields(never))
    assert "not for animals that give milk" in " ".join(answer.context["form"].errors["medicine"])


def test_form_is_shown_with_the_caution(vet_client, path):
    page = vet_client.get(path).content.decode()
    assert "The leaflet and the prescribing vet decide" in page
    assert "One quarter treated is the whole cow out." in page
