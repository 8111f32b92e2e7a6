"""From the order to the lorry and back: picked from its shelf, sent with its paper, returned."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from config import entries
from config.errors import Conflict
from milk.fetch_list import fetch_list
from milk.models import Dispatch, Hold, RindMark, Shipment, WheelPlace
from milk.ordered import ordered
from milk.places import CAME_BACK, IN_STORE, SENT, where_is
from milk.services import dispatch, holds, orders, store
from milk.services.wheel_places import place_again, rebuild_all
from tests.cast import text, user_in
from tests.factories import cheese, milk
from tests.factories.herd import make_user

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)
NOW = milk.EVENING


@pytest.fixture(autouse=True)
def rules(db):
    cheese.make_rules()


@pytest.fixture
def order():
    line = cheese.make_order_line(pieces=2)
    return line.order


def ripe(**fields):
    wheel = cheese.make_ripe(**fields)
    place_again([wheel.pk])
    return wheel


def pick(order, wheel, *, at=NOW, by="store hand", **fields):
    fields.setdefault("kg", Decimal("40.2"))
    if "place" not in fields:
        fields["place"] = cheese.shelf_of(wheel)
    stamp = milk.stamp_at(at, user_in(by))
    return orders.pick_wheel(stamp=stamp, order=order, wheel=wheel, **fields)


def send(order, *, at=NOW + HOUR, paper="D1", **fields):
    fields.setdefault("carrier", "a carrier")
    return dispatch.send_order(stamp=milk.stamp_at(at), order=order, paper=paper, **fields)


def test_an_order_is_picked_and_sent(order):
    one, other = ripe(), ripe()
    pallet = orders.record_pallet(stamp=milk.stamp_at(NOW), order=order)
    pick(order, one, pallet=pallet)
    pick(order, other)
    assert ordered(order, NOW).is_full
    shipment = send(order, temperature=Decimal("9.5"))
    left = Dispatch.objects.filter(shipment=shipment).order_by("wheel__plate")
    assert {row.wheel for row in left} == {one, other}
    assert {(row.buyer, row.paper, row.kg) for row in left} == {
        (order.buyer, "D1", Decimal("40.2"))
    }
    assert left.get(wheel=one).pallet == pallet
    assert where_is([one.pk])[one.pk].kind == SENT
    assert len(ordered(order, NOW + HOUR).sent) == 2
    with pytest.raises(Conflict, match="Nothing is picked"):
        send(order, paper="D2")


def test_the_next_pallet_has_the_next_number(order):
    numbers = [orders.record_pallet(stamp=milk.stamp_at(NOW), order=order).sscc for _ in range(3)]
    assert [number[:8] for number in numbers] == ["0" + cheese.PREFIX] * 3
    assert [int(number[8:-1]) for number in numbers] == [1, 2, 3]
    wrong = numbers[0][:-1] + str((int(numbers[0][-1]) + 1) % 10)
    with pytest.raises(ValidationError, match="check digit"):
        orders.record_pallet(stamp=milk.stamp_at(NOW), order=order, sscc=wrong)


def test_every_reason_is_said_and_nothing_is_saved(order):
    young = milk.make_wheel(vat=milk.make_vat(at=NOW - timedelta(days=10)))
    held = holds.hold_milk(
        stamp=milk.stamp_at(NOW, make_user("vet")), reason="other", words="blown", wheel=young
    )
    with pytest.raises(Conflict) as refused:
        pick(order, young, place=None)
    said = str(refused.value)
    for words in ("not in the store", "0 months old", "never graded", "held: blown", "12 months"):
        assert words in said
    assert held.pk
    assert not order.picks.exists()


def test_a_held_twin_is_for_the_cheesemaker(order):
    vat = cheese.make_old_vat()
    wheel, twin = ripe(vat=vat), ripe(vat=vat)
    holds.hold_milk(
        stamp=milk.stamp_at(NOW, make_user("vet")), reason="other", words="blown", wheel=twin
    )
    with pytest.raises(Conflict, match="ask the cheesemaker"):
        pick(order, wheel)
    with pytest.raises(ValidationError, match="for the cheesemaker"):
        pick(order, wheel, twin_asked=True)
    assert pick(order, wheel, by="cheesemaker", twin_asked=True).twin_asked


def test_a_hold_after_the_picking_keeps_all_of_it_here(order):
    one, other = ripe(), ripe()
    pick(order, one)
    pick(order, other)
    holds.hold_milk(
        stamp=milk.stamp_at(NOW, make_user("vet")), reason="other", words="blown", vat=other.vat
    )
    with pytest.raises(Conflict, match="1 of 2 picked wheels"):
        send(order)
    assert not Dispatch.objects.exists()
    assert not Shipment.objects.exists()


def test_a_paper_without_an_address_is_refused(order):
    wheel = ripe()
    pick(order, wheel)
    owner = milk.make_buyer(name="No address", address="")
    with pytest.raises(ValidationError, match=r"\(f\) the address"):
        send(order, owner_after=owner)
    assert not Shipment.objects.exists()


def test_seconds_need_their_grooves(order):
    cheese.make_order_line(order=order, grade="second", pieces=1)
    wheel = ripe(grade="second")
    with pytest.raises(Conflict, match="grooves cut"):
        pick(order, wheel)
    milk.plain(RindMark, NOW, None, wheel=wheel, what="grooved")
    assert pick(order, wheel)


def test_a_market_brings_its_own_age_rule(order):
    market = cheese.make_order(market="US 21 CFR 133")
    cheese.make_order_line(order=market)
    assert pick(market, ripe())


def test_a_wheel_is_picked_for_one_order_at_a_time(order):
    wheel = ripe()
    other = cheese.make_order_line().order
    made = pick(other, wheel)
    with pytest.raises(Conflict, match=f"picked for {other} already"):
        pick(order, wheel)
    orders.strike_pick(made, by=user_in("office"), reason="twice")
    assert pick(order, wheel)


def test_what_came_back_is_held_and_on_no_shelf(order):
    wheel = ripe()
    pick(order, wheel)
    send(order)
    sent = Dispatch.objects.get(wheel=wheel)
    with pytest.raises(ValidationError, match="cannot have come back"):
        dispatch.record_return(stamp=milk.stamp_at(NOW), dispatch=sent, why="quality")
    back = dispatch.record_return(
        stamp=milk.stamp_at(NOW + 5 * HOUR), dispatch=sent, why="quality", words="bitter"
    )
    assert back.hold == Hold.objects.get()
    assert "bitter" in back.hold.words
    assert where_is([wheel.pk])[wheel.pk].kind == CAME_BACK
    assert WheelPlace.objects.get(wheel=wheel).what == WheelPlace.What.BACK
    place = milk.make_store_place()
    later = milk.stamp_at(NOW + 6 * HOUR)
    store.record_store_stay(stamp=later, wheel=wheel, place=place)
    again = cheese.make_order_line().order
    with pytest.raises(Conflict, match="it came back on"):
        pick(again, wheel, at=NOW + 7 * HOUR, place=place)
    assert rebuild_all() == 1
    assert WheelPlace.objects.get(wheel=wheel).place == place


def decided(hold, what, at):
    for role in ("vet", "cheesemaker"):
        stamp = milk.stamp_at(at, user_in(role))
        holds.decide(stamp=stamp, hold=hold, decision=what, words="agreed")


def test_a_shipment_does_not_leave_ahead_of_time(order):
    pick(order, ripe())
    with pytest.raises(ValidationError, match="not come yet|ahead|future"):
        send(order, at=datetime.now(UTC) + 24 * HOUR)
    assert not Shipment.objects.exists()


def test_what_came_back_and_was_released_is_offered_again(order):
    wheel = ripe()
    pick(order, wheel)
    send(order)
    sent = Dispatch.objects.get(wheel=wheel)
    back = dispatch.record_return(stamp=milk.stamp_at(NOW + 5 * HOUR), dispatch=sent, why="wrong")
    decided(back.hold, "release", NOW + 6 * HOUR)
    stamp = milk.stamp_at(NOW + 7 * HOUR)
    store.record_store_stay(stamp=stamp, wheel=wheel, place=milk.make_store_place())
    again = cheese.make_order_line().order
    found = ordered(again, NOW + 8 * HOUR)
    assert [one.wheel for one in fetch_list(found, NOW + 8 * HOUR)] == [wheel]


def test_a_struck_shipment_never_left(order):
    wheel = ripe()
    pick(order, wheel)
    shipment = send(order)
    dispatch.correct_shipment(
        shipment, stamp=milk.stamp_at(NOW + HOUR), reason="other", words="typo", paper="D9"
    )
    assert Dispatch.objects.standing().get().paper == "D9"
    shipment.refresh_from_db()
    dispatch.strike_shipment(shipment, by=user_in("office"), reason="twice")
    assert where_is([wheel.pk])[wheel.pk].kind == IN_STORE
    assert ordered(order, NOW + HOUR).waiting


def test_too_young_a_wheel_does_not_leave_alone_either():
    wheel = milk.make_wheel()
    with pytest.raises(Conflict, match="at least 12|wants 12 months"):
        milk.dispatch(wheel)
    downgraded = milk.make_wheel()
    cheese.inspect(downgraded, "downgraded", at=downgraded.happened_at + HOUR)
    milk.plain(RindMark, downgraded.happened_at + HOUR, None, wheel=downgraded, what="removed")
    assert milk.dispatch(downgraded)


def test_the_list_goes_down_the_aisles_and_leaves_out_what_may_not_leave(order):
    wheels = [ripe(stored=False) for _ in range(4)]
    for wheel, (aisle, column) in zip(wheels, [(2, 1), (1, 9), (1, 2), (1, 3)], strict=True):
        milk.put_in_store(wheel, place=milk.make_store_place(aisle=aisle, column=column))
        place_again([wheel.pk])
    holds.hold_milk(
        stamp=milk.stamp_at(NOW, make_user("vet")), reason="other", words="wet", wheel=wheels[2]
    )
    listed = fetch_list(ordered(order, NOW), NOW)
    # The held one is left out, and its twin would be asked about; two are wanted.
    assert [one.wheel for one in listed] == [wheels[3], wheels[1]]


def test_statements_do_not_grow_with_the_wheels(order, django_assert_max_num_queries):
    line = cheese.make_order_line(order=order, pieces=10)
    for _ in range(8):
        ripe()
    assert line.pk
    with django_assert_max_num_queries(40):
        assert len(fetch_list(ordered(order, NOW), NOW)) == 8


# --- pages and API --------------------------------------------------------------------------------


def fresh(**fields):
    """A ripe wheel graded some days before the clock the pages run on."""
    wheel = ripe(grade="", **fields)
    cheese.inspect(wheel, at=datetime.now(UTC) - timedelta(days=10))
    return wheel


def test_the_order_page_picks_and_sends(order, store_hand_client, office_client):
    wheel = fresh()
    page = store_hand_client.get(f"/milk/orders/{order.uuid}/")
    assert wheel.plate in text(page)
    shelf = cheese.shelf_of(wheel)
    code = f"{shelf.room}/{shelf.aisle}/{shelf.column}/{shelf.shelf}"
    refused = store_hand_client.send(
        f"/milk/orders/{order.uuid}/pick/", wheel=wheel.plate, place=code, kg="no"
    )
    assert refused.status_code == 400
    assert "not a number" in text(refused)
    done = store_hand_client.send(
        f"/milk/orders/{order.uuid}/pick/", wheel=wheel.plate, place=code, kg="40,2"
    )
    assert done.status_code == 302, text(done)
    begun = store_hand_client.send(f"/milk/orders/{order.uuid}/pallet/")
    assert begun.status_code == 302
    at = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M")
    sent = office_client.send(
        f"/milk/orders/{order.uuid}/send/", happened_at=at, paper="D7", carrier="a van"
    )
    assert sent.status_code == 302, text(sent)
    paper = office_client.get(sent.url)
    assert wheel.plate in text(paper)
    assert order.buyer.address in text(paper)
    csv = office_client.get(sent.url, {"as": "csv"})
    assert wheel.plate in csv.content.decode()
    assert office_client.get(sent.url, {"as": "pdf"}).content.startswith(b"%PDF")
    assert "sent" in text(office_client.get("/milk/orders/"))
    pallet = order.pallets.get()
    assert pallet.sscc in text(office_client.get(f"/milk/pallets/{pallet.uuid}/"))


def test_a_line_says_how_much_by_page_and_program(order, office_api):
    body = {
        "order": str(order.uuid),
        "months": 12,
        "grade": "first",
        "happened_at": NOW.isoformat(),
    }
    for amount in ({}, {"pieces": 1, "kg": "40"}):
        refused = office_api.post("/api/order-lines/", {**body, **amount})
        assert refused.status_code == 400
        assert "how many wheels, or how many kg" in refused.content.decode()


def test_a_wheel_that_leaves_alone_is_graded_and_marked_as_one_of_an_order():
    wheel = ripe(grade="")
    with pytest.raises(Conflict, match="never graded"):
        milk.dispatch(wheel, at=NOW)
    cheese.inspect(wheel, "second")
    with pytest.raises(Conflict, match="grooves cut"):
        milk.dispatch(wheel, at=NOW)
    milk.plain(RindMark, NOW, None, wheel=wheel, what="grooved")
    with pytest.raises(ValidationError, match="address of"):
        milk.dispatch(wheel, at=NOW, buyer=milk.make_buyer(address=""))
    assert milk.dispatch(wheel, at=NOW).wheel == wheel


def test_who_may_not_pick_or_send(order, milker_client, inspector_client):
    assert milker_client.send(f"/milk/orders/{order.uuid}/pick/").status_code == 403
    assert inspector_client.get(f"/milk/orders/{order.uuid}/send/").status_code == 403
    assert inspector_client.get(f"/milk/orders/{order.uuid}/").status_code == 200


def test_the_api_says_what_stands(order, office_api):
    wheel = fresh()
    found = office_api.get(f"/api/orders/{order.uuid}/stands/").json()
    assert [one["plate"] for one in found["fetch"]] == [wheel.plate]
    assert found["missing"] == 2
    answer = office_api.get(f"/api/wheels/{wheel.uuid}/may-leave/", order=order.number).json()
    assert (answer["word"], answer["reasons"]) == ("MAY LEAVE", [])
    assert office_api.get(f"/api/wheels/{wheel.uuid}/may-leave/").status_code == 400
    bad = office_api.get(f"/api/wheels/{wheel.uuid}/may-leave/", order="none such")
    assert bad.status_code == 400
    label = office_api.get(f"/api/wheels/{wheel.uuid}/label/").json()
    assert label["address"].endswith(f"/21/{wheel.plate}")


def test_a_complaint_is_answered_with_the_twin_and_the_day(order, office_client):
    vat = cheese.make_old_vat()
    wheel, twin, other = ripe(vat=vat), ripe(vat=vat, grade="second"), ripe()
    pick(order, wheel)
    send(order)
    page = office_client.get(f"/milk/wheels/{wheel.uuid}/complaint/")
    lines = list(page.context["paper"].lines)
    assert [line.cells[0] for line in lines[:2]] == [wheel.plate, twin.plate]
    assert f"{order.buyer}, D1" in text(page)
    assert [line.loud for line in lines[:2]] == [False, True]
    assert other.plate in text(page)
    assert office_client.get(page.request["PATH_INFO"], {"as": "pdf"}).content.startswith(b"%PDF")


def test_entries_are_struck_once(order):
    entries.strike(order.lines.get(), by=user_in("office"), reason="twice")
    with pytest.raises(Conflict, match="no line yet"):
        pick(order, ripe())


def test_a_picked_wheel_that_is_held_since_is_marked(order, store_hand_client):
    held, free = ripe(), ripe()
    for wheel in (held, free):
        pick(order, wheel)
    address = f"/milk/orders/{order.uuid}/"
    assert "may not leave; put it back" not in text(store_hand_client.get(address))
    holds.hold_milk(
        stamp=milk.stamp_at(NOW + HOUR, user_in("vet")), reason="other", words="onions", wheel=held
    )
    page = store_hand_client.get(address)
    marked = {pick.wheel: said for pick, said in page.context["waiting"]}
    assert marked[free] == ""
    assert marked[held].endswith(": onions")
    assert text(page).count("may not leave; put it back") == 1
    with pytest.raises(Conflict, match=r"may not leave: .*held: onions"):
        send(order, at=NOW + 2 * HOUR)
