"""Number the wheels of a vat; a plate is one wheel for ever."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from config.errors import Conflict
from config.models import Notice
from milk.models import Wheel
from milk.services import holds, wheels
from tests.factories import milk
from tests.factories.herd import make_user

pytestmark = pytest.mark.django_db

MORNING = milk.EVENING + timedelta(hours=12)
LIFT = MORNING + timedelta(hours=2)


@pytest.fixture
def vat17():
    return milk.make_vat(at=MORNING, number=17)


@pytest.fixture
def vat18():
    return milk.make_vat(at=MORNING, number=18)


def number(vat, *plates):
    return wheels.number_wheels(stamp=milk.stamp_at(LIFT), vat=vat, plates=plates)


def test_twins_in_one_act(vat17):
    made = number(vat17, ("0004711", "A", Decimal("48.1")), (" 0004712 ", "B", None))
    assert [(wheel.plate, wheel.twin, wheel.kg) for wheel in made] == [
        ("0004711", "A", Decimal("48.1")),
        ("0004712", "B", None),
    ]


def test_a_plate_on_another_vat_is_refused_with_where_and_since_when(vat17, vat18):
    number(vat17, ("0004711", "A", None))
    with pytest.raises(Conflict) as error:
        number(vat18, ("0004711", "B", None))
    said = str(error.value)
    assert "Plate 0004711 is on vat 2026-06-10/17, twin A, since 2026-06-10 06:30" in said
    assert "just now by vet" in said
    assert Wheel.objects.count() == 1


def test_a_plate_is_free_again_once_its_wheel_is_struck(vat17, vat18):
    (wrong,) = number(vat17, ("0004711", "A", None))
    wheels.strike_wheel(wrong, by=make_user("cheesemaker"), reason="product")
    (right,) = number(vat18, ("0004711", "A", None))
    assert right.vat == vat18


def test_a_third_wheel_is_refused(vat17):
    number(vat17, ("1", "A", None), ("2", "B", None))
    with pytest.raises(Conflict, match="has its twin A already: plate 1"):
        number(vat17, ("3", "A", None))


@pytest.mark.parametrize(
    ("plates", "words"),
    [
        ([], "at least one plate"),
        ([("1", "A", None), ("1", "B", None)], "Plate 1 stands twice"),
        ([("1", "A", None), ("2", "A", None)], "Twin A stands twice"),
        ([("  ", "A", None)], "Write the number on the plate"),
        ([("1", "C", None)], "there is no C"),
        ([("1", "X", None)], "not a valid choice"),
        ([("1", "A", Decimal(0))], "0 kg is no weight"),
    ],
)
def test_bad_plates_are_refused_and_none_is_written(vat17, plates, words):
    with pytest.raises(ValidationError, match=words):
        number(vat17, *plates)
    assert not Wheel.objects.exists()


def test_wheels_are_not_older_than_their_vat(vat17):
    with pytest.raises(ValidationError, match="cannot have been lifted"):
        wheels.number_wheels(
            stamp=milk.stamp_at(MORNING - timedelta(minutes=1)),
            vat=vat17,
            plates=[("1", "A", None)],
        )


def test_the_database_keeps_two_twins_and_one_plate(vat17, vat18):
    number(vat17, ("1", "A", None))
    for fields in ({"plate": "2", "twin": "A", "vat": vat17}, {"plate": "1", "vat": vat18}):
        with pytest.raises(IntegrityError), transaction.atomic():
            milk.plain(Wheel, LIFT, make_user("cheesemaker"), **{"twin": "A", **fields})


# --- the plates of two vats exchanged (T41) -----------------------------------------------------


def swap(one, other, **fields):
    fields.setdefault("reason", "other")
    fields.setdefault("words", "plates laid out the wrong way round")
    return wheels.swap_wheels(
        stamp=milk.stamp_at(LIFT + timedelta(hours=1)), one=one, other=other, **fields
    )


def test_swapped_vats_get_each_others_wheels_and_the_old_wording_stays(vat17, vat18):
    number(vat17, ("1", "A", None), ("2", "B", None))
    number(vat18, ("3", "A", None), ("4", "B", None))
    swap(vat17, vat18)
    standing = Wheel.objects.standing()
    assert {wheel.plate: wheel.vat for wheel in standing} == {
        "1": vat18,
        "2": vat18,
        "3": vat17,
        "4": vat17,
    }
    first = standing.get(plate="1")
    assert (first.replaces.vat, first.replaces.is_struck) == (vat17, True)
    assert first.happened_at == LIFT


def test_the_trace_of_swapped_wheels_is_that_of_the_other_vat(vat17, vat18):
    tanks = [milk.make_tank(), milk.make_tank()]
    for tank, vat in zip(tanks, (vat17, vat18), strict=True):
        milk.make_milking(tank=tank, at=milk.EVENING)
        milk.fill(vat, tank=tank)
    number(vat17, ("1", "A", None))
    swap(vat17, vat18)
    wheel = Wheel.objects.standing().get()
    assert [row.lot.tank for row in wheel.vat.lots.all()] == [tanks[1]]


def test_vats_that_were_ever_held_are_to_be_looked_at_again(vat17, vat18):
    number(vat17, ("1", "A", None))
    holds.hold_milk(
        stamp=milk.stamp_at(LIFT, make_user("vet")), reason="other", words="slow", vat=vat18
    )
    swap(vat17, vat18)
    cause = f"wheels-exchanged:{vat17.uuid}:{vat18.uuid}"
    assert set(Notice.objects.filter(cause=cause).values_list("role", flat=True)) == {
        "vet",
        "cheesemaker",
    }


def test_a_swap_needs_two_vats_with_wheels_and_a_reason(vat17, vat18):
    with pytest.raises(Conflict, match="has wheels to exchange"):
        swap(vat17, vat18)
    with pytest.raises(ValidationError, match="two different vats"):
        swap(vat17, vat17)
    with pytest.raises(ValidationError, match="no reason"):
        swap(vat17, vat18, reason="because")


def test_a_wheel_corrected_onto_a_taken_twin_is_refused(vat17, vat18):
    (wheel,) = number(vat17, ("1", "A", None))
    number(vat18, ("2", "A", None))
    with pytest.raises(Conflict, match="has its twin A already: plate 2"):
        wheels.correct_wheel(wheel, stamp=milk.stamp_at(LIFT), reason="other", words="x", vat=vat18)


# --- by API ---------------------------------------------------------------------------------------


def act(*plates, **fields):
    return {"happened_at": LIFT.isoformat(), "wheels": list(plates), **fields}


def test_number_by_api(vat17, cheesemaker_api):
    answer = cheesemaker_api.post(
        f"/api/vats/{vat17.uuid}/wheels/",
        act({"plate": "1", "twin": "A", "kg": "48.1"}, {"plate": "2", "twin": "B"}),
    )
    assert answer.status_code == 201, answer.content
    assert [wheel["kg"] for wheel in answer.json()["wheels"]] == ["48.100", None]


def test_a_plate_taken_is_a_conflict_by_api(vat17, vat18, cheesemaker_api):
    number(vat17, ("1", "A", None))
    answer = cheesemaker_api.post(
        f"/api/vats/{vat18.uuid}/wheels/", act({"plate": "1", "twin": "A"})
    )
    assert answer.status_code == 409
    assert "Plate 1 is on vat" in answer.json()["detail"]


@pytest.mark.parametrize(
    "sent",
    [
        {},
        act(),
        act({"plate": "1"}),
        act({"plate": "1", "twin": "C"}),
        act(1),
        act({"plate": "1" * 17, "twin": "A"}),
        act({"plate": "1", "twin": "A", "mass": 1}),
    ],
)
def test_bad_bodies_are_refused(vat17, cheesemaker_api, sent):
    answer = cheesemaker_api.post(f"/api/vats/{vat17.uuid}/wheels/", sent)
    assert answer.status_code == 400
    assert not Wheel.objects.exists()


@pytest.mark.parametrize("who", ["milker", "store_hand", "inspector", "nobody"])
def test_others_may_not_number(vat17, who, request):
    api = request.getfixturevalue(f"{who}_api")
    sent = act({"plate": "1", "twin": "A"})
    assert api.post(f"/api/vats/{vat17.uuid}/wheels/", sent).status_code == 403
