"""The dairy hall: plates, weights, yields, the boards and papers, and how much they read."""

from datetime import UTC, datetime
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from config.errors import Conflict
from milk.day_make import day_make
from milk.models import (
    PlateLoss,
    PlateReceipt,
    StarterCan,
    VatFill,
    VatMark,
    Wheel,
    WheelWeight,
)
from milk.plate_stock import plate_stock
from milk.services import plates, rennet, vats, wheels
from milk.vat_times import in_time
from milk.vat_yields import yields_of
from milk.wheels_today import wheels_of_day
from tests.cast import Api, text, user_in
from tests.factories import milk
from tests.factories.herd import make_user
from tests.milk.hall import HOUR, MINUTE, MORNING, WHEN, D, hold, mark, rows, tray

pytestmark = pytest.mark.django_db
__all__ = ["rows", "tray"]


def receive(first: str, last: str) -> PlateReceipt:
    return plates.record_receipt(stamp=milk.stamp_at(milk.EVENING), first=first, last=last)


def lose(plate: str, **fields: Any) -> PlateLoss:
    return plates.record_loss(stamp=milk.stamp_at(MORNING), plate=plate, **fields)


def test_every_plate_is_accounted_for() -> None:
    receipt = receive("0098", "0107")
    lose("0098", what="broken")
    wheel = milk.make_wheel(plate="0100")
    stock = plate_stock(MORNING)
    assert (stock.received, stock.used, stock.broken, stock.lost) == (10, 1, 1, 0)
    assert (stock.left, stock.next) == (8, "0099")
    for plate, words in (("0098", "written as broken"), ("0108", "0098 to 0107"), ("100", "none")):
        with pytest.raises((Conflict, ValidationError), match=words):
            milk.make_wheel(plate=plate)
    with pytest.raises(Conflict, match="Strike that wheel first"):
        lose("0100", what="broken")
    with pytest.raises(ValidationError, match="came in already"):
        receive("0107", "0120")
    with pytest.raises(ValidationError, match="another number of digits"):
        receive("90", "100")
    with pytest.raises(Conflict, match="must keep"):
        plates.strike_receipt(receipt, by=user_in("office"), **WHEN)
    wheels.strike_wheel(wheel, by=user_in("cheesemaker"), **WHEN)
    assert plate_stock(MORNING).left == 9


def test_a_wheel_keeps_its_first_weight() -> None:
    wheel = milk.make_wheel(kg=None)
    at = wheel.happened_at
    with pytest.raises(ValidationError, match="cannot have been weighed"):
        plates.record_weight(stamp=milk.stamp_at(at - HOUR), wheel=wheel, kg=D(47))
    first = plates.record_weight(stamp=milk.stamp_at(at + 24 * HOUR), wheel=wheel, kg=D("47.6"))
    plates.record_weight(stamp=milk.stamp_at(at + 99 * HOUR), wheel=wheel, kg=D("46.9"))
    wheel.refresh_from_db()
    assert wheel.kg == D("47.6")
    plates.strike_weight(first, by=user_in("cheesemaker"), **WHEN)
    wheel.refresh_from_db()
    assert wheel.kg == D("46.9")
    wheels.correct_wheel(wheel, stamp=milk.stamp_at(at), reason="quantity", kg=D("47.1"))
    wheel.refresh_from_db()
    assert wheel.kg == D("47.1")
    assert WheelWeight.objects.standing().filter(wheel=wheel).count() == 1
    assert plates.keep_weights() == 0


def test_vats_twins_and_plates_that_do_not_match_are_named() -> None:
    vat, other = milk.make_vat(at=MORNING, number=1), milk.make_vat(at=MORNING, number=2)
    for plate in ("41", "42"):
        milk.make_wheel(vat=vat, plate=plate)
    milk.make_wheel(vat=other, plate="44", kg=None)
    found, words = wheels_of_day(MORNING.date(), MORNING + 48 * HOUR)
    assert found[0].wrong == []
    assert found[1].wrong[0] == "1 of 2 wheels numbered"
    assert found[1].wrong[1].startswith("plate 44 does not follow 42")
    assert [wheel.plate for wheel in found[1].unweighed(MORNING + 48 * HOUR)] == ["44"]
    assert "No yield is expected" in words


def test_no_yield_is_expected_from_too_few_vats(rows: None) -> None:
    tank = milk.make_tank()
    milk.make_milking(tank=tank, at=MORNING - HOUR, kg=3000)
    vat = milk.make_vat(at=MORNING, fat=D("3.05"), casein=D("2.78"))
    milk.fill(vat, tank=tank, at=MORNING, kg="1155.8")
    for kg in ("48.1", "47.6"):
        milk.make_wheel(vat=vat, kg=kg)
    found = yields_of([vat], MORNING.date())
    assert round(found.rows[0].per_100, 2) == D("8.28")
    assert (found.fit, found.rows[0].expected) == (None, None)
    assert found.words.startswith("No yield is expected yet: 0 vats")


# --- filling --------------------------------------------------------------------------------------


def test_an_over_full_vat_is_refused(rows: None) -> None:
    tank = milk.make_tank()
    milk.make_milking(tank=tank, at=MORNING - HOUR, kg=3000)
    vat = milk.make_vat(at=MORNING)
    milk.fill(vat, tank=tank, at=MORNING, kg=1200)
    with pytest.raises(ValidationError, match="at most 1,287.5 kg"):
        milk.fill(vat, tank=tank, at=MORNING, kg=100)
    with pytest.raises(ValidationError, match="No recipe is called"):
        milk.make_vat(at=MORNING, recipe="blue")
    assert VatFill.objects.count() == 1


@pytest.fixture
def today() -> Any:
    """A tank with fresh milk and a vat begun an hour ago."""
    now = datetime.now(UTC).replace(second=0, microsecond=0)
    tank = milk.make_tank(name="B")
    milk.make_milking(tank=tank, at=now - 3 * HOUR, kg=5000)
    return tank, milk.make_vat(at=now - HOUR, number=9, day=timezone.localdate())


def sent(tank: Any, **fields: Any) -> dict[str, Any]:
    now = timezone.localtime().strftime("%Y-%m-%dT%H:%M")
    return {"happened_at": now, f"kg_{tank.uuid}": "1100", **fields}


def test_what_would_be_in_a_vat_is_said_before_it_is_poured(
    today: Any, cheesemaker_client: Any
) -> None:
    tank, vat = today
    page = text(cheesemaker_client.send(f"/milk/vats/{vat.uuid}/fill/", **sent(tank, look="1")))
    assert "It would hold" in page
    assert tank.lots.get().code in page
    assert "no inhibitor test written" in page
    assert not VatFill.objects.exists()
    hold(timezone.now(), tank=tank)
    later = timezone.localtime(timezone.now() + 2 * MINUTE).strftime("%Y-%m-%dT%H:%M")
    again = sent(tank, look="1", happened_at=later)
    page = text(cheesemaker_client.send(f"/milk/vats/{vat.uuid}/fill/", **again))
    assert "may not be poured: held since" in page
    board = text(cheesemaker_client.get("/milk/pour/"))
    assert "DO NOT POUR tank B" in board


def test_the_next_mark_is_one_touch_on_the_board(
    today: Any, cheesemaker_client: Any, inspector_client: Any
) -> None:
    tank, vat = today
    vats.fill_vat(stamp=milk.Stamp.now(make_user()), vat=vat, kg=D(1100), tank=tank)
    board = text(cheesemaker_client.get("/milk/vats/"))
    assert "Rennet in now" in board
    address = f"/milk/vats/{vat.uuid}/mark/"
    assert inspector_client.send(address, what="set").status_code == 403
    assert cheesemaker_client.send(address, what="set").status_code == 302
    assert "Clot firm now" in text(cheesemaker_client.get("/milk/vats/"))
    again = cheesemaker_client.send(address, what="set")
    assert "already" in text(again)
    assert VatMark.objects.count() == 1


@pytest.mark.parametrize(
    "address",
    ["pour/", "starter/", "wheels/today/", "plates/", "vat-sheet/", "vats/"],
)
def test_pages_of_the_hall(address: str, today: Any, rows: None, inspector_client: Any) -> None:
    _, vat = today
    receive("0001", "0300")
    milk.make_wheel(vat=vat, plate="0007", at=timezone.now())
    found = inspector_client.get(f"/milk/{address}")
    assert found.status_code == 200
    if address in ("plates/", "vat-sheet/"):
        for ending, start in (("csv", b"\xef\xbb\xbf"), ("pdf", b"%PDF")):
            file = inspector_client.get(f"/milk/{address}", {"as": ending})
            assert file.content.startswith(start) or ending == "csv"
            assert b"0007" in file.content or ending == "pdf" or address == "plates/"


def test_boards_for_programs(today: Any, rows: None) -> None:
    tank, vat = today
    api = Api(user_in("cheesemaker"))
    (row,) = api.get("/api/pour/").json()["standing"]
    assert (row["name"], row["word"]) == ("tank B", "POUR")
    body = {"happened_at": timezone.now().isoformat()}
    fills = [{"tank": str(tank.uuid), "kg": "1100"}]
    looked = api.post(f"/api/vats/{vat.uuid}/look/", {**body, "fills": fills})
    assert looked.status_code == 200, looked.content
    assert looked.json()["lots"][0]["code"] == tank.lots.get().code
    assert not VatFill.objects.exists()
    board = api.get("/api/vats-board/").json()
    assert [one["next"] for one in board["vats"]] == ["set"]
    receive("0001", "0300")
    assert api.get("/api/plate-stock/").json()["left"] == 300
    assert Api(None).get("/api/pour/").status_code in (401, 403)


def test_the_boards_take_no_more_statements_for_more_vats(
    django_assert_max_num_queries: Any, inspector_client: Any, rows: None
) -> None:
    tank = milk.make_tank()
    milk.make_milking(tank=tank, at=timezone.now() - 3 * HOUR, kg=9000)
    for number in range(1, 6):
        vat = milk.make_vat(
            at=timezone.now() - HOUR, number=number, day=timezone.localdate(), fat=3, casein="2.7"
        )
        milk.fill(vat, tank=tank, at=timezone.now() - HOUR, kg=1000)
        Wheel.objects.create(
            vat=vat, plate=f"9{number}", twin="A", **milk.stamp_at(timezone.now()).columns()
        )
    # As they are, and two to spare: the sign-in takes three of them.
    most = {"vats/": 24, "pour/": 23, "wheels/today/": 11, "vat-sheet/": 24}
    for address, statements in most.items():
        with django_assert_max_num_queries(statements):
            inspector_client.get(f"/milk/{address}")


def test_before_the_morning_milk_is_there_yesterdays_stands_in(tray: Any, rows: None) -> None:
    lot = tray.tank.lots.get()
    tank = milk.make_tank(name="M")
    before = milk.make_milking(tank=tank, at=MORNING - 26 * HOUR, kg=600).parts.get().lot
    milk.wash(tank, MORNING - 20 * HOUR)
    for one, fat in ((lot, "4"), (before, "4.05")):
        for what, value in (("fat", fat), ("casein", "2.74")):
            milk.make_lot_test(lot=one, what=what, value=value, unit="%", sample=what)
    milk.make_tank_event("emptied", tank=tray.tank, at=milk.EVENING + 2 * HOUR)
    milk.make_vat(at=MORNING - 24 * HOUR)
    made = day_make(MORNING.date(), MORNING - 3 * HOUR)
    (row,) = made.standing
    assert made.like_yesterday
    assert row.cream_to_take is not None
    assert row.cream_to_take > 0


# --- rennet asked and the clot expected -----------------------------------------------------------


def set_with(grams: str, strength: str | None = "1150") -> Any:
    """1,121 l of milk with so much rennet of one batch."""
    if strength is not None:
        rennet.record_batch(
            stamp=milk.stamp_at(MORNING - 99 * HOUR), code="RB-9", g=D(9000), strength=D(strength)
        )
    tank = milk.make_tank(name="R")
    milk.make_milking(tank=tank, at=milk.EVENING + 10 * HOUR, kg=6000)
    vat = milk.make_vat(at=MORNING, rennet_batch="rb-9", rennet_g=D(grams), number=7)
    milk.fill(vat, tank=tank, at=MORNING, kg=1155)
    mark(vat, "set", MORNING + HOUR)
    vat.refresh_from_db()
    return vat


def test_the_clot_is_expected_by_the_strength_of_the_rennet(rows: None) -> None:
    vat = set_with("35.1")
    (one,) = in_time([vat], MORNING + HOUR)
    assert one.expected is not None
    # 1,155 / 1.03 l at 3 g for 100 l of 1,200 IMCU/g are 35.1 g of 1,150 IMCU/g.
    assert one.expected.dose is not None
    assert round(one.expected.dose, 1) == D("35.1")
    assert one.expected.words == (
        "long-aged asks 35.1 g for 1,121 l at 1,150 IMCU/g; clot expected after 10 min"
    )


def test_half_the_rennet_takes_twice_as_long(rows: None, cheesemaker_client: Any) -> None:
    vat = set_with("17.5")
    (one,) = in_time([vat], MORNING + HOUR)
    assert one.due is not None
    assert abs(one.due - (MORNING + HOUR + 20 * MINUTE)) < MINUTE
    page = text(cheesemaker_client.get(vat.get_absolute_url()))
    assert "asks 35.1 g for 1,121 l" in page
    assert "clot expected after 20 min" in page


@pytest.mark.parametrize(
    ("strength", "words"), [("", "the strength of batch"), (None, "batch rb-9 is not in the book")]
)
def test_rennet_of_unknown_strength_lets_nothing_expect(
    strength: str | None, words: str, rows: None
) -> None:
    vat = set_with("35", None)
    if strength is not None:
        rennet.record_batch(stamp=milk.stamp_at(MORNING - 99 * HOUR), code="RB-9", g=D(9000))
    (one,) = in_time([vat], MORNING + HOUR)
    assert one.expected is not None
    assert (one.expected.dose, one.expected.minutes) == (None, None)
    assert words in one.expected.words
    assert one.due == MORNING + HOUR + 10 * MINUTE


def test_a_wheels_page_says_what_it_lost_on_the_scale_of_the_store(
    rows: None, cheesemaker_client: Any
) -> None:
    wheel = milk.make_wheel(kg=None)
    for days, kg in ((1, "47.6"), (80, "43.1"), (160, "40.2")):
        at = wheel.happened_at + days * 24 * HOUR
        plates.record_weight(stamp=milk.stamp_at(at), wheel=wheel, kg=D(kg))
    page = text(cheesemaker_client.get(wheel.get_absolute_url()))
    assert "</span> at 24 h" in page
    assert "weighed, 9.5 % less" in page
    assert "weighed, 15.5 % less" in page


def test_the_plate_after_the_last_one_is_named(cheesemaker_client: Any) -> None:
    vat = milk.make_vat(at=MORNING)
    address = f"/milk/vats/{vat.uuid}/wheels/"
    assert "comes" not in cheesemaker_client.get(address).context["form"]["plate_A"].help_text
    milk.make_wheel(plate="0000999", kg=None)
    assert "After 0000999 comes 0001000." in text(cheesemaker_client.get(address))


def test_a_can_names_its_vats_day_by_day(cheesemaker_client: Any) -> None:
    now = timezone.now()
    whey = milk.make_vat(at=now - 30 * HOUR, number=40, day=timezone.localdate(now - 30 * HOUR))
    at = now - 25 * HOUR
    can = milk.plain(StarterCan, at, None, can="2", from_vat=whey, litres=D(40))
    for number in (1, 2, 3, 5):
        milk.make_vat(at=now - HOUR, number=number, day=timezone.localdate(), starter_can=can)
    page = text(cheesemaker_client.get("/milk/starter/"))
    assert f"in vats 1 to 3, 5 of {timezone.localdate()}" in page


def test_the_next_vat_is_begun_with_its_number(cheesemaker_client: Any) -> None:
    today = timezone.localdate()
    for number in (1, 2):
        milk.make_vat(at=timezone.now() - HOUR, number=number, day=today)
    for page in ("/milk/vats/", "/milk/pour/"):
        begun = f"/entries/vats/new/?day={today}&amp;number=3"
        assert begun in cheesemaker_client.get(page).content.decode()
    form = cheesemaker_client.get(f"/entries/vats/new/?day={today}&number=3").context["form"]
    assert (form["day"].value(), form["number"].value()) == (str(today), "3")
    # With a gap nobody can say which is next.
    milk.make_vat(at=timezone.now() - HOUR, number=9, day=today)
    assert "&amp;number=" not in cheesemaker_client.get("/milk/vats/").content.decode()
