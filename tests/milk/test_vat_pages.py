"""The pages of tanks, milkings, vats and wheels: the answer, forms that write, refusals."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from milk.models import Milking, VatFill, Wheel
from milk.services import holds
from tests.cast import text
from tests.factories import milk
from tests.factories.herd import make_animal, make_group, make_user

pytestmark = pytest.mark.django_db

MORNING = milk.EVENING + timedelta(hours=12)


def local(moment):
    return timezone.localtime(moment).strftime("%Y-%m-%dT%H:%M")


@pytest.fixture
def now():
    return datetime.now(UTC).replace(second=0, microsecond=0)


@pytest.fixture
def tank(now):
    made = milk.make_tank(name="B")
    milk.make_milking(tank=made, at=now - timedelta(hours=3), kg=5000)
    return made


@pytest.fixture
def vat(now):
    return milk.make_vat(at=now - timedelta(hours=1), number=9)


def hold(**what):
    return holds.hold_milk(
        stamp=milk.Stamp.now(make_user("vet")), reason="other", words="smell of silage", **what
    )


# --- tanks and milkings ---------------------------------------------------------------------------


def test_every_tank_says_its_lot_and_what_is_left(tank, inspector_client):
    milk.make_tank(name="H", use="hold")
    page = text(inspector_client.get("/milk/tanks/"))
    lot = milk.lots_of(tank)[0]
    assert lot.code in page
    assert '5,000 <span class="unit">kg</span> left' in page
    assert "No milk was ever written into it" in page


def test_a_tank_from_which_too_much_was_drawn_says_so(tank, vat, inspector_client):
    milk.fill(vat, tank=tank, kg=5100)
    assert "more was drawn than came in" in text(inspector_client.get("/milk/tanks/"))


def test_the_tanks_take_few_statements(tank, vet_client, django_assert_max_num_queries):
    for _ in range(6):
        milk.make_milking(tank=milk.make_tank(), at=timezone.now() - timedelta(hours=3))
    with django_assert_max_num_queries(40):
        vet_client.get("/milk/tanks/")


def test_without_a_tank_the_page_says_so(vet_client):
    assert "No tank is in the book" in text(vet_client.get("/milk/tanks/"))


def milking_form(now, **fields):
    group, tank = make_group(), milk.make_tank()
    began = now - timedelta(hours=2)
    return {
        "group": str(group.uuid),
        "tank": str(tank.uuid),
        "happened_at": local(began),
        "day": timezone.localtime(began).date().isoformat(),
        "session": "M",
        **fields,
    }


def test_a_milking_with_pasted_rows(now, milker_client):
    one, two = make_animal(farm_number=1042), make_animal(farm_number=1043)
    rows = f"1042;12,4;60\n{two.ear_tag}\t9.65\n\n"
    answer = milker_client.send("/milk/milkings/new/", **milking_form(now, rows=rows))
    assert answer.status_code == 302, text(answer)
    milking = Milking.objects.get()
    assert milking.kg == Decimal("22.05")
    assert set(milking.cows.values_list("animal", "grams", "at_s")) == {
        (one.pk, 12_400, 60),
        (two.pk, 9_650, None),
    }
    assert milking.parts.get().lot.code in text(milker_client.get("/milk/milkings/"))


def test_a_milking_without_meters_names_the_cows_kept_out(now, milker_client):
    cow = make_animal(farm_number=1042)
    sent = milking_form(now, kg="900", kept_out="1042")
    assert milker_client.send("/milk/milkings/new/", **sent).status_code == 302
    assert Milking.objects.get().cows.get().animal == cow


def test_a_cow_of_both_fields_is_kept_out_with_her_weight(now, milker_client):
    make_animal(farm_number=1042)
    make_animal(farm_number=1043)
    sent = milking_form(now, rows="1042;12\n1043;10", kept_out="1042")
    assert milker_client.send("/milk/milkings/new/", **sent).status_code == 302
    assert Milking.objects.get().kg == 10


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"rows": "1042"}, "line 1: “1042” is no meter row"),
        ({"rows": "1042;much"}, "line 1: “much” is no weight"),
        ({"rows": "1042;12\n7777;9"}, "line 2: no animal is called “7777”"),
        ({"rows": "1042;12;soon"}, "is no meter row"),
        ({"rows": "1042;12\n1042;13"}, "1042 stands more than once"),
        ({"rows": "1042;-1"}, "no weight of one milking"),
        ({"kept_out": "9999", "kg": "5"}, "line 1: no animal is called “9999”"),
        ({}, "Give the kg"),
        ({"kg": "x"}, "wrong-words"),
        ({"rows": "\n".join(f"{n};1" for n in range(5000))}, "5000 lines are too many"),
    ],
)
def test_a_bad_milking_is_told_what_was_expected(now, milker_client, fields, words):
    make_animal(farm_number=1042)
    answer = milker_client.send("/milk/milkings/new/", **milking_form(now, **fields))
    assert answer.status_code == 200
    assert words in text(answer)
    assert not Milking.objects.exists()


@pytest.mark.parametrize("who", ["cheesemaker", "inspector", "nobody"])
def test_others_do_not_get_the_form(who, request):
    client = request.getfixturevalue(f"{who}_client")
    assert client.get("/milk/milkings/new/").status_code == 403


# --- vats -----------------------------------------------------------------------------------------


def test_a_vat_says_which_lots_and_not_held(tank, vat, inspector_client):
    milk.fill(vat, tank=tank, kg=1100)
    page = text(inspector_client.get(vat.get_absolute_url()))
    assert '<span class="state state-released">not held</span>' in page
    assert milk.lots_of(tank)[0].code in page
    assert "100.00 %" in page
    assert ">Fill<" not in page


def test_a_held_lot_holds_its_vat_and_its_wheels(tank, vat, cheesemaker_client):
    milk.fill(vat, tank=tank, kg=1100)
    wheel = milk.make_wheel(vat=vat, at=timezone.now())
    hold(lot=milk.lots_of(tank)[0])
    page = text(cheesemaker_client.get(vat.get_absolute_url()))
    assert '<p class="answer"> <span class="state state-held">held</span>' in page
    assert "smell of silage" in page
    page = text(cheesemaker_client.get(wheel.get_absolute_url()))
    assert '<p class="answer"> <span class="state state-held">held</span>' in page
    assert ">Send<" not in page
    page = text(cheesemaker_client.get("/milk/vats/"))
    assert "1 held or with withheld milk" in page


def test_an_empty_vat_says_no_milk(vat, vet_client):
    page = text(vet_client.get(vat.get_absolute_url()))
    assert "no milk" in page
    assert "Nothing was filled into it yet" in page


def test_milk_the_book_does_not_know_is_said(tank, vat, vet_client, now):
    milk.fill(vat, tank=tank, kg=1100)
    milk.wash(tank, now - timedelta(hours=2))
    page = text(vet_client.get(vat.get_absolute_url()))
    assert "came from a tank in which the book knew no milk" in page


def test_the_day_s_vats_take_few_statements(tank, now, vet_client, django_assert_max_num_queries):
    for number in range(1, 9):
        each = milk.make_vat(at=now - timedelta(minutes=30), number=number)
        milk.fill(each, tank=tank, kg=100)
        milk.make_wheel(vat=each, at=now)
    with django_assert_max_num_queries(40):
        page = text(vet_client.get("/milk/vats/"))
    assert "8 vats" in page


@pytest.mark.parametrize("day", ["tomorrow", "2026-13-01", "0001-01-01"])
def test_no_day_is_no_page(day, vet_client):
    assert vet_client.get(f"/milk/vats/?day={day}").status_code == 400


def test_a_vat_is_filled_by_form_from_tank_and_tray(tank, vat, now, cheesemaker_client):
    tray = milk.make_tray(tank=tank, at=now - timedelta(hours=2), kg=300)
    page = text(cheesemaker_client.get(f"{vat.get_absolute_url()}fill/"))
    assert "4,700 kg left" in page
    sent = {
        "happened_at": local(now - timedelta(minutes=30)),
        "ended_at": local(now - timedelta(minutes=24)),
        f"kg_{tank.uuid}": "855,8",
        f"kg_{tray.uuid}": "290",
    }
    answer = cheesemaker_client.send(f"{vat.get_absolute_url()}fill/", **sent)
    assert answer.status_code == 302, text(answer)
    assert sorted(VatFill.objects.values_list("kg", flat=True)) == [290, Decimal("855.8")]


def test_sent_twice_it_is_filled_once(tank, vat, now, cheesemaker_client):
    sent = {"happened_at": local(now), f"kg_{tank.uuid}": "855"}
    for _ in range(2):
        answer = cheesemaker_client.send(f"{vat.get_absolute_url()}fill/", once="o1", **sent)
        assert answer.status_code == 302
    assert VatFill.objects.count() == 1


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({}, "Write the kg beside"),
        ({"kg": "-1"}, "is too little. Expected at least"),
        ({"kg": "20000"}, "holds 15,000 kg"),
        ({"kg": "5", "happened_at": ""}, "required"),
    ],
)
def test_a_bad_fill_is_told(tank, vat, now, cheesemaker_client, fields, words):
    sent = {"happened_at": local(now), **fields}
    if "kg" in sent:
        sent[f"kg_{tank.uuid}"] = sent.pop("kg")
    answer = cheesemaker_client.send(f"{vat.get_absolute_url()}fill/", **sent)
    assert answer.status_code == 200
    assert words in text(answer)
    assert not VatFill.objects.exists()


def test_held_milk_is_refused_on_the_form(tank, vat, now, cheesemaker_client):
    hold(lot=milk.lots_of(tank)[0])
    sent = {"happened_at": local(now + timedelta(minutes=1)), f"kg_{tank.uuid}": "855"}
    answer = cheesemaker_client.send(f"{vat.get_absolute_url()}fill/", **sent)
    assert "may not be poured" in text(answer)
    assert not VatFill.objects.exists()


def test_wheels_are_numbered_by_form(vat, now, cheesemaker_client):
    path = f"{vat.get_absolute_url()}wheels/"
    sent = {"happened_at": local(now), "plate_A": "0004711", "kg_A": "48,1", "plate_B": "0004712"}
    assert cheesemaker_client.send(path, **sent).status_code == 302
    assert set(Wheel.objects.values_list("plate", "twin", "kg")) == {
        ("0004711", "A", Decimal("48.1")),
        ("0004712", "B", None),
    }


def test_a_plate_on_another_wheel_is_refused_on_the_form(vat, now, cheesemaker_client):
    milk.make_wheel(plate="0004711")
    path = f"{vat.get_absolute_url()}wheels/"
    answer = cheesemaker_client.send(path, happened_at=local(now), plate_A="0004711")
    assert "Plate 0004711 is on vat" in text(answer)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({}, "at least one plate"),
        ({"kg_A": "48"}, "a weight but no plate"),
        ({"plate_A": "1", "plate_B": "1"}, "stands twice"),
    ],
)
def test_bad_plates_are_told(vat, now, cheesemaker_client, fields, words):
    path = f"{vat.get_absolute_url()}wheels/"
    answer = cheesemaker_client.send(path, happened_at=local(now), **fields)
    assert words in text(answer)
    assert not Wheel.objects.exists()


def test_the_second_twin_may_come_later(vat, now, cheesemaker_client):
    milk.make_wheel(vat=vat, at=now, plate="1")
    path = f"{vat.get_absolute_url()}wheels/"
    assert "Plate of twin A" not in text(cheesemaker_client.get(path))
    assert cheesemaker_client.send(path, happened_at=local(now), plate_B="2").status_code == 302


def test_two_vats_exchange_their_wheels_by_form(vat, now, cheesemaker_client):
    other = milk.make_vat(at=now - timedelta(hours=1), number=10)
    milk.make_wheel(vat=vat, at=now, plate="1")
    path = f"{vat.get_absolute_url()}swap/"
    sent = {"other": str(other), "reason": "other", "words": "laid out the wrong way"}
    assert cheesemaker_client.send(path, **sent).status_code == 302
    assert Wheel.objects.standing().get().vat == other
    again = cheesemaker_client.send(path, **{**sent, "other": "vat 17"})
    assert again.status_code == 200


@pytest.mark.parametrize("page", ["fill", "wheels", "swap"])
@pytest.mark.parametrize("who", ["milker", "inspector", "nobody"])
def test_others_may_not(page, who, vat, request):
    client = request.getfixturevalue(f"{who}_client")
    assert client.get(f"{vat.get_absolute_url()}{page}/").status_code == 403
    assert client.send(f"{vat.get_absolute_url()}{page}/").status_code == 403


# --- wheels ---------------------------------------------------------------------------------------


def test_a_wheel_says_where_it_lies_and_its_life(store_hand_client):
    wheel = milk.make_wheel(plate="0004711")
    milk.put_in_store(wheel, place=milk.make_store_place(room="2", aisle=3, column=1, shelf=9))
    page = text(store_hand_client.get(wheel.get_absolute_url()))
    assert "Store: 2, aisle 3, column 1, shelf 9, since" in page
    assert "laid in store" in page
    assert "not held" in page


def test_wheels_are_found_by_the_beginning_of_their_plate(store_hand_client):
    milk.make_wheel(plate="0004711")
    milk.make_wheel(plate="0009000")
    page = text(store_hand_client.get("/milk/wheels/?plate=00047"))
    assert "0004711" in page
    assert "0009000" not in page
    assert "No plate begins with" in text(store_hand_client.get("/milk/wheels/?plate=%00x%3Cb"))


def test_a_struck_wheel_stays_readable(cheesemaker_client):
    wheel = milk.make_wheel(plate="0004711")
    milk.wheels.strike_wheel(wheel, by=make_user("cheesemaker"), reason="twice")
    page = text(cheesemaker_client.get(wheel.get_absolute_url()))
    assert 'class="struck">Wheel 0004711' in page


@pytest.mark.parametrize(
    "path", ["/milk/tanks/", "/milk/milkings/", "/milk/vats/", "/milk/wheels/"]
)
def test_pages_need_a_role(path, client, nobody_client):
    assert client.get(path).status_code == 302
    assert nobody_client.get(path).status_code == 403


@pytest.mark.parametrize(
    ("path", "sheet"),
    [("/milk/tanks/", "Milk"), ("/milk/vats/", "Milk"), ("/milk/wheels/", "Wheels")],
)
def test_the_navigation_marks_the_closest_sheet(path, sheet, vet_client):
    marked = vet_client.get(path).context["items"]
    assert [item["label"] for item in marked if item["here"]] == [sheet]
