"""A course and its first dose on one page, from the animal."""

from datetime import date
from decimal import Decimal

import pytest
from django.utils import timezone

from herd.models import Course, Dose, Medicine, MedicineMove, TreatmentPlan
from herd.withheld import answer_for
from tests.factories.herd import (
    HOUR,
    NOON,
    make,
    make_course,
    make_dose,
    make_holding,
    make_medicine,
    make_recording,
)
from tests.herd.arithmetic import at


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
    course = Course.objects.get()
    # Written months late: the milk in doubt opens first.
    assert (answer.status_code, answer.url) == (302, f"/milk/late/{course.uuid}/")
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


def test_dose_written_at_once_leads_back_to_her(vet_client, path, cow, tube):
    now = timezone.localtime().strftime("%Y-%m-%dT%H:%M")
    answer = vet_client.send(path, **fields(tube, happened_at=now, expires_on="2099-01-01"))
    assert (answer.status_code, answer.url) == (302, f"/herd/animals/{cow.uuid}/")


# Before the needle.


def shown(client, path, **sent):
    """The cost as the page tells it before anything is written."""
    answer = client.send(path, **sent, show="yes")
    assert answer.status_code == 200
    assert not Course.objects.exists()
    return answer.context["cost"], answer.content.decode()


def test_cost_is_shown_before_the_needle(vet_client, path, cow, tube):
    # T1: three tubes from Tuesday 17:00; end Sunday 05:00, back 16:30, and 04:30 with 30 min less.
    make_recording(cow, milk_kg=Decimal(24), happened_at=NOON - 24 * HOUR)
    cost, page = shown(vet_client, path, **fields(tube, happened_at="2026-06-02T17:00"))
    assert (cost.cost.until, cost.cost.back) == (at("2026-06-07 05:00"), at("2026-06-07 16:30"))
    # Two while she is treated, seven after the last dose.
    assert (cost.cost.milkings, cost.kg, cost.eur) == (9, Decimal(108), Decimal(81))
    assert (cost.better.minutes, cost.better.saves) == (-30, 1)
    for words in (
        "Back in the tank from",
        "Sun 7 Jun, 16:30",
        "Given 30 min earlier",
        "her recording of 2026-06-01",
        "at 0.75 EUR a kg",
        "Nothing is written yet",
    ):
        assert words in page


def test_cost_of_zero_hours_is_tank(vet_client, path, tube):
    cost, page = shown(vet_client, path, **fields(make_medicine(0)))
    assert cost.is_zero
    assert "TANK" in page
    assert "0 h on the leaflet" in page


def test_cost_nobody_knows(vet_client, path):
    cost, page = shown(vet_client, path, **fields(make_medicine(None)))
    assert (cost.cost.milkings, cost.kg) == (None, None)
    assert "Nobody knows until when" in page


def test_cost_is_refused_like_the_order(vet_client, path, tube):
    answer = vet_client.send(path, **fields(tube, doses="5"), show="yes")
    assert answer.context["cost"] is None
    assert "at most 3 doses" in answer.context["form"].errors["doses"][0]


def test_milk_kept_out_anyway_is_no_cost(vet_client, path, cow, tube):
    make_dose(make_course(cow, medicine=make_medicine(84)), happened_at=NOON - HOUR)
    answer = vet_client.send(path, **fields(tube, doses="1"), show="yes")
    cost = answer.context["cost"].cost
    assert cost.back == at("2026-06-06 04:30")
    assert (cost.milkings, cost.already) == (0, 7)


# Plans and doses with one touch.


@pytest.fixture
def plan(tube) -> TreatmentPlan:
    found: TreatmentPlan = make(
        TreatmentPlan,
        name="clots in one quarter",
        diagnosis="mastitis",
        medicine=tube,
        dose=Decimal(1),
        doses=3,
        interval_hours=12,
    )
    return found


def test_plan_is_ordered_with_one_touch(vet_client, cow, plan):
    answer = vet_client.send(f"/herd/animals/{cow.uuid}/order/{plan.uuid}/", given="yes")
    assert (answer.status_code, answer.url) == (302, f"/herd/animals/{cow.uuid}/")
    course = Course.objects.get()
    assert (course.plan, course.doses, course.diagnosis) == (plan, 3, "mastitis")
    assert course.prescriber == "vet"
    assert Dose.objects.get().course == course
    page = vet_client.get(answer.url).content.decode()
    assert "Given now (2 left)" in page


def test_plan_ordered_without_its_first_dose(vet_client, cow, plan):
    vet_client.send(f"/herd/animals/{cow.uuid}/order/{plan.uuid}/")
    assert (Course.objects.count(), Dose.objects.count()) == (1, 0)


def test_plan_shows_its_cost_and_fills_the_form(vet_client, path, plan):
    answer = vet_client.get(path, {"plan": str(plan.uuid)})
    assert answer.context["cost"].cost.milkings
    assert answer.context["form"]["diagnosis"].value() == "mastitis"
    assert "clots in one quarter" in answer.content.decode()


@pytest.mark.parametrize("role", ["stockman", "milker", "inspector"])
def test_only_the_vet_orders_a_plan(request, cow, plan, role):
    client = request.getfixturevalue(f"{role}_client")
    assert client.send(f"/herd/animals/{cow.uuid}/order/{plan.uuid}/").status_code == 403
    assert not Course.objects.exists()


def ordered(cow, tube, **extra) -> Course:
    """A course of two doses that began twelve hours ago, its first dose given."""
    begun = timezone.now() - 12 * HOUR
    course = make_course(cow, medicine=tube, doses=2, happened_at=begun, **extra)
    make_dose(course, begun, quarter="LF", batch="B7", expires_on=date(2099, 1, 1))
    return course


def test_next_dose_with_one_touch(stockman_client, cow, tube):
    course = ordered(cow, tube)
    answer = stockman_client.send(f"/herd/courses/{course.uuid}/given/")
    assert (answer.status_code, answer.url) == (302, f"/herd/animals/{cow.uuid}/")
    dose = Dose.objects.latest("happened_at")
    assert (dose.quarter, dose.batch, dose.expires_on) == ("LF", "B7", date(2099, 1, 1))
    assert (dose.quantity, dose.by.username) == (course.dose, "stockman")


def test_one_touch_of_an_old_pack_opens_the_form(stockman_client, cow, tube):
    course = ordered(cow, tube)
    make_dose(course, timezone.now() - HOUR, batch="B8", expires_on=date(2020, 1, 1))
    answer = stockman_client.send(f"/herd/courses/{course.uuid}/given/")
    assert answer.status_code == 200
    assert "expired" in answer.context["form"].errors["expires_on"][0]
    assert Dose.objects.count() == 2


def test_batch_that_was_received_expired_is_refused(stockman_client, cow, tube):
    course = ordered(cow, tube)
    make(
        MedicineMove,
        medicine=tube,
        what="received",
        quantity=Decimal(10),
        batch="B9",
        expires_on=date(2026, 1, 31),
        supplier=make_holding(),
    )
    now = timezone.localtime().strftime("%Y-%m-%dT%H:%M")
    sent = {"happened_at": now, "quantity": "1", "batch": "B9"}
    answer = stockman_client.send(f"/herd/courses/{course.uuid}/dose/", **sent)
    assert "expired on 2026-01-31" in answer.context["form"].errors["batch"][0]


def test_dose_given_earlier_leads_to_the_milk_in_doubt(stockman_client, cow, tube):
    course = ordered(cow, tube)
    when = timezone.localtime(timezone.now() - 2 * HOUR).strftime("%Y-%m-%dT%H:%M")
    sent = {"happened_at": when, "quantity": "1"}
    answer = stockman_client.send(f"/herd/courses/{course.uuid}/dose/", **sent)
    assert answer.url == f"/milk/late/{course.uuid}/"
    assert stockman_client.get(answer.url).status_code == 200


@pytest.mark.parametrize(
    ("may_give", "role", "status"),
    [
        ("vet", "vet", 302),
        ("vet", "stockman", 403),
        ("vet", "milker", 403),
        ("stockman", "stockman", 302),
        ("stockman", "milker", 403),
        ("", "milker", 302),
        ("", "inspector", 403),
    ],
)
def test_who_may_give_a_dose(request, cow, tube, may_give, role, status):
    course = ordered(cow, tube, may_give=may_give)
    client = request.getfixturevalue(f"{role}_client")
    answer = client.send(f"/herd/courses/{course.uuid}/given/")
    assert answer.status_code == status
    if status == 403 and role != "inspector":
        assert "as the vet ordered" in answer.content.decode()
    assert Dose.objects.count() == (2 if status == 302 else 1)


def test_barred_substance_is_never_ordered(vet_client, path):
    barred = make(Medicine, name="Never", barred=True, actives="an invented one")
    answer = vet_client.send(path, **fields(barred))
    assert "may never be given" in answer.context["form"].errors["medicine"][0]
    assert not Course.objects.exists()


def test_more_than_the_largest_dose_is_off_leaflet(vet_client, path):
    tube = make_medicine(84, leaflet_dose=Decimal(1))
    answer = vet_client.send(path, **fields(tube, dose="2"))
    assert "at most 1 ml a dose" in answer.context["form"].errors["dose"][0]


def test_form_is_shown_with_the_caution(vet_client, path):
    page = vet_client.get(path).content.decode()
    assert "The leaflet and the prescribing vet decide" in page
    assert "One quarter treated is the whole cow out." in page
