"""Milk of another holding: a lot without animals, by page and by API, and the trace says so."""

from datetime import timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from milk.models import Delivery, MilkLot
from tests.factories.milk import EVENING, fill, make_buyer, make_milking, make_tank, make_vat

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
LOCAL = ZoneInfo("Europe/Vienna")


def body(**fields: Any) -> dict[str, Any]:
    holding = make_buyer(name="Mill Lane")
    made = {"way": "in", "holding": str(holding.uuid), "kg": "3000", "paper": "N1"}
    return made | {"tank": str(make_tank(name="C").uuid)} | fields


def supplied() -> MilkLot:
    """The one lot of the book."""
    lot: MilkLot = MilkLot.objects.valid().get()
    assert (lot.delivery, lot.kg, lot.session) == (Delivery.objects.get(), 3000, "")
    assert not lot.parts.exists()
    return lot


def test_by_api_it_is_a_lot_without_animals(cheesemaker_api: Any) -> None:
    answer = cheesemaker_api.post("/api/deliveries/", body(happened_at=EVENING.isoformat()))
    assert answer.status_code == 201, answer.content
    lot = supplied()
    told = cheesemaker_api.get(f"/api/trace/back/lot/{lot.code}/").json()
    assert [row["supplier"] for row in told["lots"]] == ["Mill Lane"]
    assert told["animals"] == []


def test_by_page_it_is_a_lot_and_the_trace_says_whose(cheesemaker_client: Any) -> None:
    at = EVENING.astimezone(LOCAL).strftime("%Y-%m-%dT%H:%M")
    answer = cheesemaker_client.send("/entries/deliveries/new/", **body(happened_at=at))
    assert answer.status_code == 302, answer.content
    page = cheesemaker_client.get(f"/milk/trace/back/lot/{supplied().code}/").content.decode()
    assert "Mill Lane" in page


@pytest.mark.parametrize(
    ("fields", "status", "words"),
    [
        ({"kg": "0"}, 400, "Expected at least 0.001"),
        ({"kg": "16000"}, 400, "it holds 15,000 kg"),
        ({"way": "through"}, 400, "way"),
        ({"holding": "Mill Lane Farm"}, 400, "holding"),
        ({"tank": None}, 400, "tank"),
    ],
)
def test_wrong_input_makes_no_lot(
    cheesemaker_api: Any, fields: dict[str, Any], status: int, words: str
) -> None:
    answer = cheesemaker_api.post(
        "/api/deliveries/", body(happened_at=EVENING.isoformat()) | fields
    )
    assert (answer.status_code, words in answer.content.decode()) == (status, True), answer.content
    assert not MilkLot.objects.exists()


def test_a_vat_of_own_and_supplied_milk_names_both(cheesemaker_api: Any) -> None:
    tank = make_tank(name="D")
    make_milking(tank=tank, at=EVENING, kg=1000)
    sent = body(happened_at=(EVENING + HOUR).isoformat(), tank=str(tank.uuid))
    assert cheesemaker_api.post("/api/deliveries/", sent).status_code == 201
    vat = make_vat(at=EVENING + 2 * HOUR, number=5)
    fill(vat, tank=tank, kg=1000)
    told = cheesemaker_api.get(f"/api/trace/back/vat/{vat.uuid}/").json()
    assert {row["supplier"]: Decimal(str(row["kg"])) for row in told["lots"]} == {
        "": 250,
        "Mill Lane": 750,
    }
