"""Fill a vat from tanks, trays and lots; what may not be poured is refused."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from config import entries
from config.errors import Conflict
from milk.models import MilkLot, VatFill, VatLot
from milk.services import holds, vats
from milk.services.changing import strike_milk
from milk.services.vats import Fill
from tests.factories import milk
from tests.factories.herd import make_user

pytestmark = pytest.mark.django_db

MORNING = milk.EVENING + timedelta(hours=12)


@pytest.fixture
def tank():
    made = milk.make_tank(name="B")
    milk.make_milking(tank=made, at=milk.EVENING, kg=5000)
    return made


@pytest.fixture
def vat():
    return milk.make_vat(at=MORNING, number=9)


def kg_in(vat):
    return {row.lot.code: row.kg for row in VatLot.objects.filter(vat=vat)}


def test_a_vat_is_of_the_lot_its_tank_held(tank, vat):
    milk.fill(vat, tank=tank, kg="1155.8")
    assert kg_in(vat) == {"B-2026-06-09-E": Decimal("1155.8")}


def test_from_two_tanks_and_a_tray_in_one_act(tank, vat):
    other = milk.make_tank(name="C")
    milk.make_milking(tank=other, at=milk.EVENING, kg=900)
    tray = milk.make_tray(tank=tank, at=milk.EVENING + timedelta(hours=1), kg=500, cream_kg=40)
    fills = [
        Fill(kg=Decimal(300), tank=tank),
        Fill(kg=Decimal(400), lot=milk.lots_of(other)[0]),
        Fill(kg=Decimal("455.5"), tray=tray),
    ]
    made = vats.fill_vat_from(stamp=milk.stamp_at(MORNING), vat=vat, fills=fills)
    assert [fill.tank for fill in made] == [tank, other, None]
    assert kg_in(vat) == {"B-2026-06-09-E": Decimal("755.5"), "C-2026-06-09-E": 400}


def test_a_tray_of_two_lots_gives_its_mixture_to_the_gram(tank, vat):
    tray_at = milk.EVENING + timedelta(minutes=90)
    tray = milk.make_tray(tank=tank, at=tray_at, ended_at=tray_at + timedelta(minutes=6), kg=300)
    milk.make_milking(tank=tank, at=tray_at + timedelta(minutes=2), kg=100)
    milk.fill(vat, tray=tray, kg="250.001")
    assert sum(kg_in(vat).values()) == Decimal("250.001")
    assert len(kg_in(vat)) == 2


def test_another_lot_than_the_tank_holds_is_refused_by_name(tank, vat):
    old = milk.lots_of(tank)[0]
    milk.make_milking(tank=tank, at=MORNING - timedelta(hours=1), kg=8400)
    with pytest.raises(Conflict, match="did not hold lot B-2026-06-09-E alone") as error:
        vats.fill_vat(stamp=milk.stamp_at(MORNING), vat=vat, lot=old, kg=Decimal(100))
    assert "B-2026-06-10-M (100 kg)" in str(error.value)
    assert not VatFill.objects.exists()


def test_a_washed_tank_gives_no_milk(tank, vat):
    milk.wash(tank, MORNING - timedelta(minutes=30))
    with pytest.raises(Conflict, match="knows no milk in tank B: it was washed or emptied"):
        milk.fill(vat, tank=tank)
    assert not VatFill.objects.exists()


def test_before_any_milk_there_is_nothing_to_fill(tank):
    early = milk.make_vat(at=milk.EVENING - timedelta(hours=1))
    with pytest.raises(Conflict, match="Write the milking"):
        milk.fill(early, tank=tank)


def test_more_than_the_tank_holds_in_the_book_is_taken_as_measured(tank, vat):
    for _ in range(5):
        milk.fill(vat, tank=tank, kg=1100)
    assert kg_in(vat) == {"B-2026-06-09-E": 5500}


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"kg": 0}, "0 kg is no weight"),
        ({"kg": -5}, "-5 kg is no weight"),
        ({"kg": 20_000}, "it holds 15,000 kg"),
        ({"at": MORNING + timedelta(days=3)}, "does not belong to it"),
        ({"at": datetime(2080, 1, 1, tzinfo=UTC)}, "has not come yet"),
        ({"ended_at": MORNING - timedelta(minutes=1)}, "cannot have ended"),
    ],
)
def test_bad_input_is_refused_and_nothing_written(tank, vat, fields, words):
    with pytest.raises(ValidationError, match=words):
        milk.fill(vat, tank=tank, **fields)
    assert not VatFill.objects.exists()


def test_one_source_must_be_named(tank, vat):
    with pytest.raises(ValidationError, match="one tank, one tray, or one lot"):
        milk.fill(vat)
    with pytest.raises(ValidationError, match="at least one"):
        vats.fill_vat_from(stamp=milk.stamp_at(MORNING), vat=vat, fills=[])


def test_a_struck_vat_takes_no_milk(tank, vat):
    entries.strike(vat, by=make_user("cheesemaker"), reason="twice")
    with pytest.raises(ValidationError, match="was struck and takes no new entries"):
        milk.fill(vat, tank=tank)


def test_a_tray_gives_nothing_before_it_was_filled(tank, vat):
    tray = milk.make_tray(tank=tank, at=MORNING + timedelta(hours=2))
    with pytest.raises(ValidationError, match="nothing can come out of it"):
        milk.fill(vat, tray=tray)


def hold(lot, at):
    return holds.hold_milk(
        stamp=milk.stamp_at(at, make_user("vet")), reason="other", words="smell", lot=lot
    )


def test_held_milk_is_not_poured(tank, vat):
    hold(milk.lots_of(tank)[0], MORNING - timedelta(hours=1))
    # Known by now, so it refuses a vat of now; milk that came on top changes nothing.
    milk.make_milking(tank=tank, at=datetime.now(UTC) - timedelta(hours=1), kg=10)
    now = milk.make_vat(at=datetime.now(UTC), number=3)
    with pytest.raises(Conflict, match="held"):
        milk.fill(now, tank=tank)
    assert not VatFill.objects.exists()


def test_a_vat_filled_before_the_hold_is_written_as_it_was(tank, vat):
    hold(milk.lots_of(tank)[0], MORNING + timedelta(hours=5))
    milk.fill(vat, tank=tank, at=MORNING)
    assert kg_in(vat) == {"B-2026-06-09-E": 1100}


def test_a_struck_fill_gives_the_milk_back(tank, vat):
    fill = milk.fill(vat, tank=tank)
    strike_milk(fill, by=make_user("cheesemaker"), reason="twice")
    assert kg_in(vat) == {}
    lot = MilkLot.objects.get()
    assert (lot.drawn_kg, lot.closed_at) == (0, None)


def test_a_vat_with_fills_is_not_struck(tank, vat):
    milk.fill(vat, tank=tank)
    with pytest.raises(Conflict, match="1 vat fill"):
        entries.strike(vat, by=make_user("cheesemaker"), reason="twice")


def test_starter_of_a_later_vat_is_refused(vat):
    can = milk.plain(
        vats.StarterCan,
        MORNING + timedelta(hours=3),
        make_user("cheesemaker"),
        can="2",
        from_vat=vat,
        litres=30,
    )
    with pytest.raises(ValidationError, match="after this vat was begun"):
        milk.make_vat(at=MORNING, number=10, starter_can=can)


# --- by API ---------------------------------------------------------------------------------------


def act(*fills, **fields):
    return {"happened_at": MORNING.isoformat(), "fills": list(fills), **fields}


def test_fill_by_api_tells_the_lots(tank, vat, cheesemaker_api):
    lot = milk.lots_of(tank)[0]
    answer = cheesemaker_api.post(
        f"/api/vats/{vat.uuid}/fill/",
        act({"lot": str(lot.uuid), "kg": "700"}, {"tank": str(tank.uuid), "kg": "455.800"}),
    )
    assert answer.status_code == 201, answer.content
    told = answer.json()
    assert told["lots"] == [{"lot": str(lot.uuid), "code": lot.code, "kg": "1155.800"}]
    assert [fill["kg"] for fill in told["fills"]] == ["700.000", "455.800"]


def test_one_bad_fill_undoes_the_others(tank, vat, cheesemaker_api):
    empty = milk.make_tank()
    answer = cheesemaker_api.post(
        f"/api/vats/{vat.uuid}/fill/",
        act({"tank": str(tank.uuid), "kg": "700"}, {"tank": str(empty.uuid), "kg": "10"}),
    )
    assert answer.status_code == 409
    assert "knows no milk" in answer.json()["detail"]
    assert not VatFill.objects.exists()


@pytest.mark.parametrize(
    "sent",
    [
        {},
        act(),
        act({"kg": "5"}),
        act({"kg": "5", "tank": "B"}),
        act({"tank": None, "kg": "x"}),
        act("milk"),
        {"fills": 3, "happened_at": MORNING.isoformat()},
    ],
)
def test_bad_bodies_are_refused(vat, cheesemaker_api, sent):
    answer = cheesemaker_api.post(f"/api/vats/{vat.uuid}/fill/", sent)
    assert answer.status_code == 400
    assert not VatFill.objects.exists()


@pytest.mark.parametrize("who", ["milker", "store_hand", "inspector", "nobody"])
def test_others_may_not_fill(tank, vat, who, request):
    api = request.getfixturevalue(f"{who}_api")
    answer = api.post(f"/api/vats/{vat.uuid}/fill/", act({"tank": str(tank.uuid), "kg": "5"}))
    assert answer.status_code == 403


def test_an_unknown_vat_is_not_found(cheesemaker_api, tank):
    sent = act({"tank": str(tank.uuid), "kg": "5"})
    assert cheesemaker_api.post(f"/api/vats/{tank.uuid}/fill/", sent).status_code == 404


def test_a_key_is_needed(tank, vat, cheesemaker_api):
    sent = act({"tank": str(tank.uuid), "kg": "5"})
    assert cheesemaker_api.post(f"/api/vats/{vat.uuid}/fill/", sent, key="").status_code == 400
