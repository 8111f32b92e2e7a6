"""Which cows made a lot: their part of its cells with meters and without, and how sure that is."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from herd import reference as herd_reference
from herd.models import Animal, Group
from milk.models import MilkLot
from milk.reference import load_reference
from tests.factories.herd import (
    DAY,
    make_animal,
    make_group,
    make_recording,
    make_stamp,
    put_in_group,
)
from tests.factories.milk import (
    EVENING,
    a_day,
    lots_of,
    make_delivery,
    make_lot_test,
    make_milking,
    make_tank,
    stamp_at,
    wash,
)

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture(autouse=True)
def rules() -> None:
    herd_reference.load_reference(make_stamp())
    load_reference(stamp_at(EVENING - 300 * DAY))


def cow(number: int, cells: int | None, group: Group) -> Any:
    made = make_animal(number)
    put_in_group(made, group)
    if cells is not None:
        make_recording(made, cells, happened_at=EVENING - 5 * DAY)
    return made


def metered() -> MilkLot:
    """10 kg of 100, 20 kg of 400 and 10 kg of 1,500 thousand per ml, 5 kg of a cow not counted.

    1,000 + 8,000 + 15,000 = 24,000 of 40 kg: 600 thousand per ml; 4.17, 33.33 and 62.5 %.
    """
    tank, group = make_tank(name="B"), make_group(5)
    wash(tank, EVENING - 2 * HOUR)
    cows = [
        (cow(2001, 100, group), 10),
        (cow(2002, 400, group), 20),
        (cow(2003, 1500, group), 10),
        (cow(2004, None, group), 5),
    ]
    make_milking(tank=tank, group=group, at=EVENING, cows=cows)
    return lots_of(tank)[0]


def not_metered() -> MilkLot:
    """90 kg of three cows that stood in the group: 30 kg each; 120, 240 and 840: 400 on average."""
    tank, group = make_tank(name="C"), make_group(6)
    for number, cells in ((3001, 120), (3002, 240), (3003, 840)):
        cow(number, cells, group)
    make_milking(tank=tank, group=group, at=EVENING, kg=90)
    return lots_of(tank)[0]


def told(api: Any, lot: MilkLot) -> Any:
    answer = api.get(f"/api/lots/{lot.uuid}/cows/")
    assert answer.status_code == 200, answer.content
    return answer.json()


def page(client: Any, lot: MilkLot) -> str:
    answer = client.get(f"/milk/lots/{lot.uuid}/cows/")
    assert answer.status_code == 200, answer.content
    return " ".join(answer.content.decode().split())


def shares(found: Any) -> list[tuple[str, Decimal, Decimal]]:
    return [(row["name"], Decimal(row["kg"]), Decimal(row["share"])) for row in found["cows"]]


def test_with_meters_each_has_what_she_gave(vet_api: Any) -> None:
    lot = metered()
    make_lot_test(lot=lot, what="cells", value=610, at=EVENING + HOUR)
    found = told(vet_api, lot)
    assert shares(found) == [
        ("2003", 10, Decimal("62.50")),
        ("2002", 20, Decimal("33.33")),
        ("2001", 10, Decimal("4.17")),
    ]
    assert (Decimal(found["computed"]), Decimal(found["measured"])) == (600, 610)
    assert found["agrees"] == "600 computed, 610 measured: 2 % off, within 20 %."
    assert found["without_count"] == ["2004"]
    assert "All of its milk was weighed cow by cow." in found["cows_sure"]
    assert any("1 of 4 cows have no count" in words for words in found["cows_sure"])


def test_each_cow_leads_to_her_page(vet_client: Any) -> None:
    lot = metered()
    for animal in Animal.objects.filter(farm_number__in=("2001", "2002", "2003")):
        assert f'<a href="/herd/animals/{animal.uuid}/">{animal}</a>' in page(vet_client, lot)


def test_what_if_brings_it_under_its_limit(vet_api: Any) -> None:
    """Without 2003 there are 9,000 of 30 kg: 300, under the 400 of the law."""
    found = told(vet_api, metered())
    for what in found["what_if"]:
        assert what["reached"]
        (step,) = what["steps"]
        assert (step["name"], Decimal(step["cells"]), Decimal(step["kg_lost"])) == ("2003", 300, 10)
    assert Decimal(found["target"]) >= 300


def test_without_meters_they_have_equal_parts_and_it_is_said(vet_api: Any) -> None:
    found = told(vet_api, not_metered())
    assert shares(found) == [
        ("3003", 30, Decimal("70.00")),
        ("3002", 30, Decimal("20.00")),
        ("3001", 30, Decimal("10.00")),
    ]
    assert Decimal(found["computed"]) == 400
    assert found["cows_sure"][0].startswith("No meter weighed it")


def test_no_result_says_so_and_compares_nothing(vet_client: Any, vet_api: Any) -> None:
    lot = metered()
    found = told(vet_api, lot)
    assert (found["measured"], found["agrees"]) == (None, "")
    text = page(vet_client, lot)
    assert "No cell count of this lot is written, 600 by its cows" in text
    assert "state-over" not in text
    assert "state-released" not in text


@pytest.mark.parametrize(("value", "state"), [(900, "state-over"), (150, "state-released")])
def test_the_page_says_the_answer_first(vet_client: Any, value: int, state: str) -> None:
    lot = metered()
    make_lot_test(lot=lot, what="cells", value=value, at=EVENING + HOUR)
    text = page(vet_client, lot)
    assert state in text
    assert text.index(state) < text.index("The cows, by their part of its cells")
    assert text.index("2003") < text.index("2001")
    assert "1 cow without a count" in text
    assert "no cow is treated on a count alone" in text


def test_a_result_that_the_cows_do_not_explain_is_not_trusted(vet_client: Any) -> None:
    lot = metered()
    make_lot_test(lot=lot, what="cells", value=900, at=EVENING + HOUR)
    assert "The list cannot be trusted: 600 computed, 900 measured, 50 % off." in page(
        vet_client, lot
    )


def test_a_struck_result_is_none(vet_api: Any) -> None:
    lot = metered()
    at, struck = EVENING + HOUR, {"struck_at": EVENING + 2 * HOUR, "struck_reason": "twice"}
    test = make_lot_test(lot=lot, what="cells", value=900, at=at)
    make_lot_test(lot=lot, what="cells", value=610, at=at - HOUR / 2)
    assert Decimal(told(vet_api, lot)["measured"]) == 900
    type(test).objects.filter(pk=test.pk).update(struck_by=test.by, **struck)
    assert Decimal(told(vet_api, lot)["measured"]) == 610


def test_a_supplier_s_lot_knows_no_cow(vet_client: Any, vet_api: Any) -> None:
    tank = make_tank(name="D")
    delivery = make_delivery(tank=tank, at=EVENING, kg=3000)
    (lot,) = lots_of(tank)
    found = told(vet_api, lot)
    assert (found["cows"], found["without_count"], found["what_if"]) == ([], [], [])
    assert found["computed"] is None
    assert found["cows_sure"] == [
        f"3,000 kg came from {delivery.holding.name}, whose cows the book does not know.",
        "The book knows no cow of this lot.",
    ]
    text = page(vet_client, lot)
    assert "The book knows no cow of this lot." in text
    assert "The cows, by their part of its cells" not in text


def test_supplied_milk_carried_over_is_said_too(vet_api: Any) -> None:
    """Not all of a lot was weighed when there is a supplier's milk under it."""
    lot = metered()
    delivery = make_delivery(tank=lot.tank, at=EVENING - HOUR, kg=15)
    lot.refresh_from_db()
    assert lot.carried_kg == 15
    found = told(vet_api, lot)
    assert found["cows_sure"][:2] == [
        f"15 kg came from {delivery.holding.name}, whose cows the book does not know.",
        "All of the rest of its milk was weighed cow by cow.",
    ]
    assert Decimal(found["computed"]) == 600


def test_washing_is_told_with_its_hours(vet_api: Any, vet_client: Any) -> None:
    lot = metered()
    assert told(vet_api, lot)["washing_sure"][0] == "Tank B was washed 2 h before its first milk."
    assert "nobody can tell whether it was cooled in time" in page(vet_client, lot)
    assert "No wash of tank C is written before it." in told(vet_api, not_metered())["washing_sure"]


def test_who_may_read_it(
    inspector_client: Any, nobody_client: Any, nobody_api: Any, client: Any, vet_api: Any
) -> None:
    path = f"lots/{a_day().uuid}/cows/"
    assert inspector_client.get(f"/milk/{path}").status_code == 200
    assert nobody_client.get(f"/milk/{path}").status_code == 403
    assert client.get(f"/milk/{path}").status_code == 302
    assert nobody_api.get(f"/api/{path}").status_code == 403
    assert client.get(f"/api/{path}").status_code == 401
    unknown = "lots/00000000-0000-4000-8000-000000000000/cows/"
    assert vet_api.get(f"/api/{unknown}").status_code == 404
    assert inspector_client.get(f"/milk/{unknown}").status_code == 404
