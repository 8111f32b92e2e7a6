"""Tanks washed, drawn and moved; deliveries; trays; and the pieces of the day's balance."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from config.errors import Conflict
from milk.models import Delivery, LotDraw, MilkLot, TankEvent, Tray, VatLot
from milk.services import holds, lots, tanks
from milk.services.changing import strike_milk
from tests.factories import milk
from tests.factories.herd import make_user

pytestmark = pytest.mark.django_db

MORNING = milk.EVENING + timedelta(hours=12)


@pytest.fixture
def tank():
    made = milk.make_tank(name="A")
    milk.make_milking(tank=made, at=milk.EVENING, kg=5000)
    return made


def strike(service, entry):
    return service(entry, by=make_user("cheesemaker"), reason="twice")


def test_a_wash_ends_what_was_in_the_tank(tank):
    milk.wash(tank, MORNING)
    milk.make_milking(tank=tank, at=MORNING + timedelta(hours=1), kg=100)
    old, new = milk.lots_of(tank)
    assert (old.ended_at, new.carried_kg, new.carried.count()) == (MORNING, 0, 0)
    # What was left is lost, and can be told.
    assert lots.left_in(old) == 5000


def test_a_wash_written_late_cuts_the_chain_and_struck_again_ties_it(tank):
    milk.make_milking(tank=tank, at=MORNING + timedelta(hours=1), kg=100)
    vat = milk.make_vat(at=MORNING + timedelta(hours=2))
    milk.fill(vat, tank=tank, kg=51)
    assert VatLot.objects.filter(vat=vat).count() == 2
    washed = milk.wash(tank, MORNING)
    assert VatLot.objects.get(vat=vat).kg == 51
    strike(strike_milk, washed)
    assert {row.kg for row in VatLot.objects.filter(vat=vat)} == {50, 1}


def test_emptied_counts_like_a_wash(tank):
    milk.make_tank_event("emptied", tank=tank, at=MORNING)
    milk.make_milking(tank=tank, at=MORNING + timedelta(hours=1), kg=100)
    assert milk.lots_of(tank)[1].carried_kg == 0


def test_drawn_and_dumped_milk_is_of_the_lot(tank):
    milk.make_tank_event("drawn", tank=tank, at=MORNING, kg=310)
    milk.make_tank_event("dumped", tank=tank, at=MORNING, kg=90)
    lot = milk.lots_of(tank)[0]
    assert (lot.drawn_kg, lots.left_in(lot)) == (400, 4600)


def test_milk_moved_names_the_lot_it_came_from(tank):
    other = milk.make_tank(name="H")
    move = milk.make_tank_event("moved", tank=tank, to_tank=other, at=MORNING, kg=620)
    (there,) = milk.lots_of(other)
    assert (there.code, there.move, there.kg, there.carried_kg) == (
        "H-2026-06-09-E",
        move,
        0,
        620,
    )
    assert there.carried.get().parent == milk.lots_of(tank)[0]
    vat = milk.make_vat(at=MORNING + timedelta(hours=1))
    milk.fill(vat, tank=other, kg=500)
    held = {row.lot.tank.name: row.kg for row in VatLot.objects.filter(vat=vat)}
    assert held == {"A": 500, "H": 0}


def test_a_late_milking_runs_on_through_a_move(tank):
    other = milk.make_tank(name="H")
    milk.make_tank_event("moved", tank=tank, to_tank=other, at=MORNING, kg=620)
    vat = milk.make_vat(at=MORNING + timedelta(hours=1))
    milk.fill(vat, tank=other, kg=500)
    milk.make_milking(tank=tank, at=MORNING - timedelta(hours=1), kg=5000)
    held = {row.lot.code: row.kg for row in VatLot.objects.filter(vat=vat)}
    assert held == {"A-2026-06-09-E": 250, "A-2026-06-10-M": 250, "H-2026-06-09-E": 0}


def test_a_level_or_a_temperature_changes_no_lot(tank):
    before = list(MilkLot.objects.values())
    milk.make_tank_event("level", tank=tank, at=MORNING, kg=4800)
    milk.make_tank_event("temperature", tank=tank, at=MORNING, temperature=Decimal("12.5"))
    assert list(MilkLot.objects.values()) == before


@pytest.mark.parametrize(
    ("what", "fields", "field", "words"),
    [
        ("drawn", {}, "kg", "Give the kg"),
        ("level", {}, "kg", "Give the kg that the level stands for"),
        ("temperature", {}, "temperature", "Give the °C"),
        ("washed", {"kg": 5}, "kg", "leave the kg away"),
        ("drawn", {"kg": 0}, "kg", "no weight"),
        ("drawn", {"kg": 20_000}, "kg", "it holds 15,000 kg"),
        ("moved", {"kg": 5}, "to_tank", "Say which other tank"),
        ("drawn", {"kg": 5, "at": datetime(2080, 1, 1, tzinfo=UTC)}, "happened_at", "has not come"),
        ("drawn", {"kg": 5, "at": MORNING, "ended_at": milk.EVENING}, "ended_at", "cannot have"),
        ("boiled", {}, "what", "not a valid choice"),
        ("sampled", {"temperature": 99}, "temperature", "no temperature of raw milk"),
    ],
)
def test_bad_input_is_refused_at_its_field(tank, what, fields, field, words):
    with pytest.raises(ValidationError, match=words) as error:
        milk.make_tank_event(what, tank=tank, **fields)
    assert list(error.value.message_dict) == [field]
    assert not TankEvent.objects.exists()


def test_a_tank_is_washed_hotter_than_milk_can_be(tank):
    assert milk.make_tank_event("washed", tank=tank, at=MORNING, temperature=Decimal(85)).pk
    with pytest.raises(ValidationError, match="no temperature of raw milk"):
        milk.make_tray(tank=tank, at=MORNING, temperature=Decimal(85))
    with pytest.raises(ValidationError, match="no temperature of raw milk"):
        milk.make_delivery(tank=tank, at=MORNING, temperature=Decimal(85))


def test_milk_is_moved_to_another_tank_only(tank):
    with pytest.raises(ValidationError, match="to itself"):
        milk.make_tank_event("moved", tank=tank, to_tank=tank, kg=5, at=MORNING)
    with pytest.raises(ValidationError, match="Only milk moved"):
        milk.make_tank_event("drawn", tank=tank, to_tank=milk.make_tank(), kg=5, at=MORNING)
    small = milk.make_tank(capacity_kg=Decimal(100))
    with pytest.raises(ValidationError, match="do not go into"):
        milk.make_tank_event("moved", tank=tank, to_tank=small, kg=500, at=MORNING)


def test_nothing_is_drawn_from_a_tank_without_milk():
    with pytest.raises(Conflict, match="the book knows no milk"):
        milk.make_tank_event("drawn", kg=5)
    assert not TankEvent.objects.exists()


def test_the_database_refuses_what_ends_before_it_began(tank):
    with pytest.raises(IntegrityError), transaction.atomic():
        milk.plain(
            TankEvent, MORNING, make_user(), tank=tank, what="drawn", kg=5, ended_at=milk.EVENING
        )


# --- deliveries -----------------------------------------------------------------------------------


def test_a_supplier_s_milk_is_a_lot_of_its_own(tank):
    delivery = milk.make_delivery(tank=tank, at=MORNING, kg=3000)
    lot = milk.lots_of(tank)[1]
    assert (lot.code, lot.delivery, lot.session, lot.kg) == (
        "A-2026-06-10-D",
        delivery,
        "",
        3000,
    )
    assert lot.carried_kg == 5000


def test_milk_to_a_buyer_is_drawn_from_the_lot(tank):
    delivery = milk.make_delivery(tank=tank, at=MORNING, kg=3000, way="out")
    assert LotDraw.objects.get(delivery=delivery).lot == milk.lots_of(tank)[0]


def test_held_milk_is_not_sold(tank):
    holds.hold_milk(
        stamp=milk.stamp_at(MORNING, make_user("vet")), reason="other", words="smell", tank=tank
    )
    with pytest.raises(Conflict, match="held"):
        milk.make_delivery(tank=tank, at=datetime.now(UTC), kg=3000, way="out")
    assert not Delivery.objects.exists()


def test_a_corrected_delivery_moves_with_its_tank(tank):
    other = milk.make_tank(name="B")
    delivery = milk.make_delivery(tank=tank, at=MORNING, kg=3000)
    stamp = milk.stamp_at(MORNING + timedelta(minutes=10))
    tanks.correct_delivery(delivery, stamp=stamp, reason="other", words="line B", tank=other)
    assert [lot.kg for lot in milk.lots_of(other)] == [3000]
    assert len(milk.lots_of(tank)) == 1


def test_a_struck_delivery_leaves_its_lot_void(tank):
    delivery = milk.make_delivery(tank=tank, at=MORNING, kg=3000)
    strike(strike_milk, delivery)
    assert MilkLot.objects.get(delivery=delivery).void


def test_a_delivery_that_does_not_fit_is_refused(tank):
    with pytest.raises(ValidationError, match="do not go into tank A: it holds 15,000 kg"):
        milk.make_delivery(tank=tank, kg=16_000)


# --- trays ----------------------------------------------------------------------------------------


def test_a_tray_is_filled_from_the_lot(tank):
    tray = milk.make_tray(tank=tank, at=MORNING, kg=500, cream_kg=40)
    assert LotDraw.objects.get(tray=tray).kg == 500


def test_a_corrected_tray_runs_on_into_its_vats(tank):
    other = milk.make_tank(name="B")
    milk.make_milking(tank=other, at=milk.EVENING, kg=900)
    tray = milk.make_tray(tank=tank, at=MORNING, kg=500)
    vat = milk.make_vat(at=MORNING + timedelta(hours=3))
    milk.fill(vat, tray=tray, kg=450)
    tanks.correct_tray(
        tray, stamp=milk.stamp_at(MORNING), reason="other", words="line B", tank=other
    )
    row = VatLot.objects.get(vat=vat)
    assert (row.lot.tank, row.kg) == (other, 450)


def test_a_tray_that_a_vat_was_filled_from_is_not_struck(tank):
    tray = milk.make_tray(tank=tank, at=MORNING, kg=500)
    milk.fill(milk.make_vat(at=MORNING), tray=tray, kg=450)
    with pytest.raises(Conflict, match="1 vat fill"):
        strike(strike_milk, tray)


def test_more_cream_than_milk_is_refused(tank):
    with pytest.raises(ValidationError, match="more cream than milk"):
        milk.make_tray(tank=tank, at=MORNING, kg=40, cream_kg=41)


def test_a_tray_is_found_by_number_and_day(tank):
    tray = milk.make_tray(tank=tank, at=MORNING, number=7)
    assert (Tray.find("7/2026-06-10"), Tray.find(str(tray))) == (tray, tray)
    with pytest.raises(Tray.DoesNotExist, match="is in the book"):
        Tray.find("7/2026-06-11")
    with pytest.raises(ValueError, match="names no tray"):
        Tray.find("seven")


# --- the day's balance (T22) ----------------------------------------------------------------------


def test_in_less_out_is_what_the_book_misses():
    """39,210 kg in; 36,960 in vats, 1,830 cream, 310 otherwise: 110 kg, 0.28 % open."""
    tank = milk.make_tank(capacity_kg=Decimal(50_000))
    milk.make_milking(tank=tank, at=milk.EVENING, kg=39_210)
    for number in range(1, 33):
        vat = milk.make_vat(at=MORNING, number=number)
        milk.fill(vat, tank=tank, kg=1155)
    milk.make_tank_event("drawn", tank=tank, at=MORNING, kg=1830, remark="cream")
    milk.make_tank_event("drawn", tank=tank, at=MORNING, kg=310)
    milk.wash(tank, MORNING + timedelta(hours=3))
    (lot,) = milk.lots_of(tank)
    assert lots.left_in(lot) == 110
    assert round(lots.left_in(lot) / lot.kg * 100, 2) == Decimal("0.28")
    # A vat that was not written is missing by its weight.
    fill = lot.draws.exclude(vat_fill=None).last().vat_fill
    strike(strike_milk, fill)
    lot.refresh_from_db()
    assert lots.left_in(lot) == 110 + 1155


def move(into, kg, at):
    tanks.record_tank_event(
        stamp=milk.stamp_at(at), tank=milk.Tank.objects.get(name="A"), what="moved",
        kg=Decimal(kg), to_tank=into,
    )  # fmt: skip


def test_a_move_into_a_tank_that_is_too_full_is_refused(tank):
    """What stands in it by the book, or by the level read last, leaves so much room."""
    other = milk.make_tank(name="H", capacity_kg=6000)
    milk.make_milking(tank=other, at=milk.EVENING, kg=4500)
    with pytest.raises(ValidationError, match=r"H has 4,500 kg in it.*1,501 kg more") as refused:
        move(other, 1501, MORNING)
    assert list(refused.value.message_dict) == ["to_tank"]
    assert not TankEvent.objects.exists()
    move(other, 1500, MORNING)
    with pytest.raises(ValidationError, match="6,000 kg in it"):
        move(other, 1, MORNING + timedelta(hours=1))
    # Somebody looked: less is in it than the book says.
    milk.make_tank_event("level", tank=other, at=MORNING + timedelta(hours=2), kg=5000)
    move(other, 1000, MORNING + timedelta(hours=3))
    milk.wash(other, MORNING + timedelta(hours=4))
    move(other, 1400, MORNING + timedelta(hours=5))
