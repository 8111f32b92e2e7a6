"""Write down a group's milking, with meter rows or without, through service and API."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from config import entries
from config.errors import Conflict
from milk.models import CowMilking, MeterCorrection, Milking
from milk.services import flowing, milkings
from milk.services.changing import strike_milk
from milk.services.cow_rows import CowRow
from tests.factories import milk
from tests.factories.herd import make_animal, make_group, make_user

pytestmark = pytest.mark.django_db

KEPT_OUT = CowMilking.Goes.KEPT_OUT


def told(error):
    return " ".join(error.value.messages)


def test_the_meters_are_added_up_and_every_row_has_its_lot():
    cows = [make_animal() for _ in range(3)]
    rows = [
        CowRow(animal=cows[0], grams=12_400),
        CowRow(animal=cows[1], grams=9_650),
        CowRow(animal=cows[2], grams=11_000, goes=KEPT_OUT),
    ]
    milking = milk.make_milking(cows=rows)
    lot = milking.parts.get().lot
    assert (milking.kg, milking.read_kg, milking.metered) == (Decimal("22.05"), None, True)
    assert lot.kg == Decimal("22.05")
    assert {row.animal_id: row.lot_id for row in milking.cows.all()} == {
        cows[0].pk: lot.pk,
        cows[1].pk: lot.pk,
        cows[2].pk: None,
    }


def test_what_was_read_at_the_tank_counts_before_the_meters():
    milking = milk.make_milking(cows=[(make_animal(), 12)], kg=14)
    assert (milking.kg, milking.read_kg, milking.parts.get().kg) == (14, 14, 14)


def test_without_meters_the_cows_kept_out_are_named():
    cow = make_animal()
    milking = milk.make_milking(kg=900, kept_out=[cow])
    row = milking.cows.get()
    assert (row.animal, row.goes, row.grams, row.lot, milking.metered) == (
        cow,
        KEPT_OUT,
        None,
        None,
        False,
    )


def test_cows_of_a_split_milking_go_to_the_part_in_which_they_were_milked():
    tank, cows = milk.make_tank(), [make_animal() for _ in range(3)]
    rows = [(cows[0], 10, 600), (cows[1], 10, 2400), (cows[2], 10)]
    milking = milk.make_milking(tank=tank, cows=rows, minutes=60)
    milk.fill(tank=tank, at=milk.EVENING + timedelta(minutes=30), kg=5)
    first, second = milk.lots_of(tank)
    of_cow = {row.animal_id: row.lot_id for row in milking.cows.all()}
    # Without a time a row is of the first part, which is carried into the second.
    assert of_cow == {cows[0].pk: first.pk, cows[1].pk: second.pk, cows[2].pk: first.pk}


def test_the_same_holds_when_the_draw_was_written_first():
    tank, cow = milk.make_tank(), make_animal()
    milk.make_milking(tank=tank, at=milk.EVENING - timedelta(hours=1), kg=100)
    milk.fill(tank=tank, at=milk.EVENING + timedelta(minutes=30), kg=5)
    milking = milk.make_milking(tank=tank, cows=[(cow, 10, 2400)], minutes=60)
    assert milking.cows.get().lot == milk.lots_of(tank)[-1]


def test_a_cow_twice_is_refused_by_name():
    cow = make_animal(farm_number=1042)
    with pytest.raises(ValidationError, match="1042 stands more than once") as error:
        milk.make_milking(cows=[(cow, 12), (cow, 13)])
    assert list(error.value.message_dict) == ["cows"]
    assert not Milking.objects.exists()


def test_a_cow_both_measured_and_kept_out_is_refused():
    cow = make_animal(farm_number=1042)
    with pytest.raises(ValidationError, match="1042 stands more than once"):
        milk.make_milking(cows=[(cow, 12)], kept_out=[cow])


def test_a_struck_animal_is_refused():
    cow = make_animal(farm_number=1042)
    entries.strike(cow, by=make_user("office"), reason="twice")
    with pytest.raises(ValidationError, match="1042: struck"):
        milk.make_milking(cows=[(cow, 12)])


@pytest.mark.parametrize(
    ("fields", "field", "words"),
    [
        ({"kg": -1}, "kg", "-1 kg is no weight"),
        ({"kg": 99_000}, "kg", "it holds 15,000 kg"),
        ({"ended_at": milk.EVENING - timedelta(minutes=5)}, "ended_at", "cannot have ended"),
        ({"ended_at": milk.EVENING + timedelta(hours=25)}, "ended_at", "more than 24 hours"),
        ({"day": milk.EVENING.date() + timedelta(days=1)}, "day", "the evening before"),
        ({"day": milk.EVENING.date() - timedelta(days=2)}, "day", "the evening before"),
        ({"at": datetime(2080, 1, 1, tzinfo=UTC)}, "happened_at", "has not come yet"),
        ({"session": "X"}, "session", "not a valid choice"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(fields, field, words):
    with pytest.raises(ValidationError, match=words) as error:
        milk.make_milking(**fields)
    assert list(error.value.message_dict) == [field]
    assert not Milking.objects.exists()


def test_neither_kg_nor_rows_is_refused():
    stamp = milk.stamp_at()
    with pytest.raises(ValidationError, match="Give the kg"):
        milkings.record_milking(
            stamp=stamp, group=make_group(), day=stamp.happened_at.date(), session="E"
        )


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"grams": 100_001}, "100.001 kg is no weight of one milking. Expected 0 to 100 kg"),
        ({"grams": -1}, "no weight"),
        ({"at_s": -1}, "not within the milking"),
        ({"at_s": 40_000}, "not within the milking"),
    ],
)
def test_a_row_no_meter_can_read_is_refused(row, words):
    with pytest.raises(ValidationError, match=words):
        milk.make_milking(cows=[CowRow(animal=make_animal(), **row)])


def test_a_struck_tank_is_refused():
    tank = milk.make_tank(name="Z")
    entries.strike(tank, by=make_user("cheesemaker"), reason="twice")
    with pytest.raises(ValidationError, match="Tank Z was struck"):
        milk.make_milking(tank=tank)


def test_two_thousand_rows_take_few_statements(django_assert_max_num_queries):
    cows = [(make_animal(), 11) for _ in range(40)]
    group, tank = make_group(), milk.make_tank()
    with django_assert_max_num_queries(60):
        milk.make_milking(group=group, tank=tank, cows=cows)
    assert CowMilking.objects.count() == 40


def test_rows_sent_twice_come_once():
    cow, late = make_animal(), make_animal()
    milking = milk.make_milking(cows=[(cow, 12)])
    again = [CowRow(animal=cow, grams=12_000), CowRow(animal=late, grams=8_000)]
    assert milkings.add_rows(milking=milking, cows=again) == 1
    milking.refresh_from_db()
    assert (milking.cows.count(), milking.kg, milking.parts.get().kg) == (2, 20, 20)


# --- corrected, struck --------------------------------------------------------------------------


def correct(milking, **fields):
    stamp = milk.stamp_at(fields.pop("at", milking.happened_at))
    return milkings.correct_milking(milking, stamp=stamp, reason="quantity", **fields)


def test_a_corrected_weight_runs_on_into_lots_and_vats():
    tank = milk.make_tank()
    milking = milk.make_milking(tank=tank, kg=100)
    fill = milk.fill(tank=tank, at=milk.EVENING + timedelta(hours=1), kg=50)
    correct(milking, kg=Decimal(1000))
    assert milking.parts.get().kg == 1000
    assert fill.draws.get().lot.kg == 1000
    struck = Milking.objects.get(struck_at__isnull=False)
    assert (struck.kg, struck.struck_reason) == (100, "quantity")


def test_a_milking_moved_to_another_tank_takes_its_cows_along():
    here, there, cow = milk.make_tank(), milk.make_tank(), make_animal()
    milking = milk.make_milking(tank=here, cows=[(cow, 12)])
    correct(milking, tank=there)
    assert milk.lots_of(here) == []
    assert milking.cows.get().lot == milk.lots_of(there)[0]


def test_a_milking_into_no_known_tank_is_of_no_lot():
    milking = milk.make_milking(cows=[(make_animal(), 12)])
    correct(milking, tank=None)
    assert milking.cows.get().lot is None


def test_the_sum_of_the_meters_stays_their_sum_when_something_else_is_corrected():
    milking = milk.make_milking(cows=[(make_animal(), 12)])
    corrected = correct(milking, kg=Decimal(12), milker="Ruth")
    assert (corrected.read_kg, corrected.milker) == (None, "Ruth")


def test_a_struck_milking_leaves_the_lots_and_its_rows_stay_readable():
    milking = milk.make_milking(cows=[(make_animal(), 12)])
    lot = milking.parts.get().lot
    strike_milk(milking, by=make_user("milker"), reason="twice")
    lot.refresh_from_db()
    assert (lot.void, milking.cows.get().lot, milking.cows.get().grams) == (True, None, 12_000)
    with pytest.raises(Conflict, match="struck already"):
        strike_milk(milking, by=make_user("milker"), reason="twice")


# --- meter rows put right -------------------------------------------------------------------------


def put_right(milking, animal, **fields):
    fields.setdefault("why", "bottle weighed")
    return milkings.correct_meter(
        stamp=milk.stamp_at(milking.happened_at), milking=milking, animal=animal, **fields
    )


def test_a_row_put_right_keeps_both_values_and_the_kg_follow():
    cow = make_animal()
    milking = milk.make_milking(cows=[(cow, 12), (make_animal(), 8)])
    correction = put_right(milking, cow, new_grams=10_000)
    assert (correction.old_grams, correction.new_grams) == (12_000, 10_000)
    milking.refresh_from_db()
    assert (milking.kg, milking.parts.get().kg) == (18, 18)


def test_a_cow_who_was_kept_out_after_all_leaves_the_lot():
    cow = make_animal()
    milking = milk.make_milking(cows=[(cow, 12), (make_animal(), 8)])
    put_right(milking, cow, new_grams=12_000, new_goes=KEPT_OUT)
    assert milking.cows.get(animal=cow).lot is None
    put_right(milking, cow, new_grams=12_000)
    assert milking.cows.get(animal=cow).lot == milking.parts.get().lot


def test_a_struck_correction_gives_the_row_back_what_it_said():
    cow = make_animal()
    milking = milk.make_milking(cows=[(cow, 12)])
    correction = put_right(milking, cow, new_grams=10_000)
    milkings.strike_meter_correction(correction, by=make_user("vet"), reason="animal")
    assert milking.cows.get().grams == 12_000
    assert MeterCorrection.objects.standing().get().why == "correction struck: animal"


def test_an_older_correction_cannot_be_struck_from_under_a_later_one():
    cow = make_animal()
    milking = milk.make_milking(cows=[(cow, 12)])
    first = put_right(milking, cow, new_grams=10_000)
    put_right(milking, cow, new_grams=9_000)
    with pytest.raises(Conflict, match="corrected again after this"):
        milkings.strike_meter_correction(first, by=make_user("vet"), reason="animal")


def test_nothing_to_put_right_is_said():
    cow = make_animal()
    milking = milk.make_milking(cows=[(cow, 12)])
    with pytest.raises(Conflict, match="says so already"):
        put_right(milking, cow, new_grams=12_000)
    with pytest.raises(ValidationError, match="has no meter row"):
        put_right(milking, make_animal(), new_grams=12_000)


def test_the_database_lets_no_row_change_without_a_correction():
    milking = milk.make_milking(cows=[(make_animal(), 12)])
    with pytest.raises(IntegrityError, match="correction"), transaction.atomic():
        milking.cows.update(grams=1)


# --- by API ---------------------------------------------------------------------------------------


def body(**fields):
    cow = make_animal()
    sent = {
        "group": str(make_group().uuid),
        "day": "2026-06-09",
        "session": "E",
        "tank": str(milk.make_tank().uuid),
        "happened_at": "2026-06-09T16:30:00+02:00",
        "cows": [{"animal": str(cow.uuid), "kg": "12.4", "at_s": 60}],
    }
    return {name: value for name, value in {**sent, **fields}.items() if value is not ...}


def test_a_milking_and_its_cows_in_one_request(milker_api):
    answer = milker_api.post("/api/milkings/", body())
    assert answer.status_code == 201, answer.content
    milking = Milking.objects.get()
    assert (answer.json()["id"], answer.json()["kg"]) == (str(milking.uuid), "12.400")
    assert milking.cows.get().at_s == 60


def test_sent_again_under_its_id_it_is_one_milking_and_one_row(milker_api):
    sent = body(id=str(uuid4()))
    assert milker_api.post("/api/milkings/", sent).status_code == 201
    assert milker_api.post("/api/milkings/", sent).status_code == 200
    assert (Milking.objects.count(), CowMilking.objects.count()) == (1, 1)


def test_the_same_key_gives_the_first_answer(milker_api):
    sent = body()
    first = milker_api.post("/api/milkings/", sent, key="k1")
    again = milker_api.post("/api/milkings/", sent, key="k1")
    assert (again.status_code, again.json()) == (201, first.json())
    assert Milking.objects.count() == 1


def test_without_meters_kept_out_cows_may_be_sent(milker_api):
    cow = make_animal()
    rows = [{"animal": str(cow.uuid), "goes": "kept out"}]
    answer = milker_api.post("/api/milkings/", body(kg="900", cows=rows))
    assert answer.status_code == 201, answer.content
    assert (Milking.objects.get().metered, CowMilking.objects.get().goes) == (False, KEPT_OUT)


def test_an_unknown_cow_is_named_by_its_row_and_nothing_is_written(milker_api):
    rows = [{"animal": str(make_animal().uuid), "kg": "1"}, {"animal": str(uuid4()), "kg": "1"}]
    answer = milker_api.post("/api/milkings/", body(cows=rows))
    assert answer.status_code == 400
    assert "row 2: there is no standing animal" in answer.content.decode()
    assert not Milking.objects.exists()


@pytest.mark.parametrize(
    "fields",
    [
        {"cows": "none"},
        {"cows": [{"kg": "1"}]},
        {"cows": [7]},
        {"kg": "much"},
        {"day": ...},
        {"tank": str(uuid4())},
        {"happened_at": "2026-06-09 16:30"},
        {"cow": []},
    ],
)
def test_bad_bodies_are_answered_with_what_was_expected(milker_api, fields):
    answer = milker_api.post("/api/milkings/", body(**fields))
    assert answer.status_code == 400
    assert answer.json()["errors"]
    assert not Milking.objects.exists()


@pytest.mark.parametrize("who", ["feed_hand", "inspector", "nobody", "cheesemaker"])
def test_others_may_not_write_milkings(who, request):
    api = request.getfixturevalue(f"{who}_api")
    assert api.post("/api/milkings/", body()).status_code == 403
    assert not Milking.objects.exists()


def test_the_list_is_that_of_the_kind(inspector_api):
    milk.make_milking()
    answer = inspector_api.get("/api/milkings/")
    assert (answer.status_code, len(answer.json()["results"])) == (200, 1)


@pytest.mark.parametrize(
    ("text", "hit"),
    [("5/2026-06-09/E", True), ("group 5, 2026-06-09 evening", True), ("5/2026-06-09/M", False)],
)
def test_a_milking_is_found_by_what_people_call_it(text, hit):
    milking = milk.make_milking(group=make_group(number=5))
    if hit:
        assert Milking.find(text) == milking
        return
    with pytest.raises(Milking.DoesNotExist, match="is in the book"):
        Milking.find(text)


def test_weights_are_said_without_needless_zeros():
    assert flowing.weight(Decimal("1200.500")) == "1,200.5"
    assert flowing.weight(Decimal("0.000")) == "0"
