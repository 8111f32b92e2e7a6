"""The measured tank beside the computed one: the panel of the udder board, its page and its API."""

from decimal import Decimal

import pytest
from django.utils import timezone

from herd import reference as herd_reference
from milk.cells_now import last_counts
from tests.cast import text
from tests.factories.herd import (
    DAY,
    LONG_AGO,
    make_animal,
    make_group,
    make_recording,
    make_stamp,
    put_in_group,
)
from tests.factories.milk import make_lot_test, make_milking, make_tank


@pytest.fixture
def tank_b(db):
    """Two cows of 20 kg with 236 and 300 thousand: 268 computed; milk of today in tank B."""
    herd_reference.load_reference(make_stamp())
    tank, group = make_tank(name="B"), make_group(5)
    for number, cells in ((2001, 236), (2002, 300)):
        cow = make_animal(number)
        put_in_group(cow, group, LONG_AGO)
        make_recording(cow, cells, happened_at=timezone.now() - 4 * DAY, milk_kg=Decimal(20))
    make_milking(tank=tank, group=group, at=timezone.now() - DAY)
    return tank


def measure(tank, value, days_ago, **fields):
    lot = tank.lots.get()
    at = timezone.now() - days_ago * DAY
    return make_lot_test(lot=lot, what="cells", value=Decimal(value), at=at, **fields)


def test_list_that_does_not_explain_the_tank_is_not_trusted(tank_b, vet_client, vet_api):
    measure(tank_b, 250, 0.9)
    measure(tank_b, 330, 0.5)
    words = "The list cannot be trusted: 268 computed, 330 measured, 23 % off."
    page = text(vet_client.get("/milk/cells/"))
    assert words in page
    assert "tank=B&amp;target=250&amp;measured=330" in page
    panel = text(vet_client.get("/milk/cells/", headers={"HX-Request": "true"}))
    assert words in panel
    assert "<html" not in panel
    told = vet_api.get("/api/cells-now/").json()["tanks"]
    assert [(tank["tank"], tank["measured"], tank["trusted"]) for tank in told] == [
        ("B", 330.0, False)
    ]
    assert told[0]["off"] == pytest.approx(23.1, abs=0.1)


def test_list_that_explains_it(tank_b, vet_client):
    measure(tank_b, 280, 0.5)
    assert "268 computed, 280 measured: 4 % off, within 20 %." in text(
        vet_client.get("/milk/cells/")
    )


def test_tank_that_was_not_measured(tank_b, vet_client, vet_api):
    assert "Not measured in three months; 268 thousand per ml computed" in text(
        vet_client.get("/milk/cells/")
    )
    assert vet_api.get("/api/cells-now/").json()["tanks"][0]["trusted"] is None


def test_unit_of_the_paper_is_brought_to_ours(tank_b):
    measure(tank_b, 330_000, 0.5, unit="per ml")
    assert last_counts(timezone.now())["b"].standard == 330


def test_cells_need_a_role(tank_b, client, nobody_client, nobody_api):
    assert client.get("/milk/cells/").status_code == 302
    assert nobody_client.get("/milk/cells/").status_code == 403
    assert nobody_api.get("/api/cells-now/").status_code == 403
