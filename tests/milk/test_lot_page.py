"""The pages and the API of lots and holds: the answer in a word first."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from milk.models import Hold, LotTest, MilkLot
from milk.reference import load_reference
from milk.services import holds, tests
from tests.cast import user_in
from tests.factories.herd import make_animal, make_course, make_dose, make_group
from tests.factories.milk import (
    EVENING,
    a_day,
    bare_lot,
    bare_parent,
    fill,
    make_lot_test,
    make_milking,
    make_tank,
    make_vat,
    stamp_at,
)

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
PAGES = ("/milk/", "/milk/lots/", "/milk/holds/")


def page(client: Any, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200, answer.content
    return " ".join(answer.content.decode().split())


def answer_of(api: Any, lot: MilkLot) -> Any:
    answer = api.get(f"/api/lots/{lot.uuid}/")
    assert answer.status_code == 200, answer.content
    return answer.json()


def hold_lot(lot: MilkLot) -> Hold:
    return holds.hold_milk(
        stamp=stamp_at(EVENING + HOUR), reason="other", words="smells of onions", lot=lot
    )


def withheld_day() -> MilkLot:
    """A lot with 12 kg of a withheld cow and 11 kg of another."""
    cow = make_animal(1042)
    make_dose(make_course(cow, happened_at=EVENING - HOUR))
    milking = make_milking(
        group=make_group(5), tank=make_tank(name="B"), cows=[(cow, 12), (make_animal(), 11)]
    )
    lot: MilkLot = milking.parts.get().lot
    return lot


def test_a_lot_without_anything_against_it_says_pour(vet_client: Any, vet_api: Any) -> None:
    lot = a_day()
    assert answer_of(vet_api, lot)["answer"] == "pour"
    text = page(vet_client, lot.get_absolute_url())
    assert '<span class="state state-pour">pour</span>' in text
    assert "Dilution never releases a lot" in text
    assert "the competent authority and local law decide" in text


def test_a_held_lot_says_held_and_by_what(vet_client: Any, vet_api: Any) -> None:
    lot = a_day()
    hold = hold_lot(lot)
    told = answer_of(vet_api, lot)
    assert told["answer"] == "held"
    assert told["held_by"][0]["hold"] == str(hold.uuid)
    text = page(vet_client, lot.get_absolute_url())
    assert '<span class="state state-held">held</span>' in text
    assert "smells of onions" in text
    assert f"/milk/holds/{hold.uuid}/" in text


def test_withheld_milk_is_told_before_any_job_has_run(vet_client: Any, vet_api: Any) -> None:
    lot = withheld_day()
    told = answer_of(vet_api, lot)
    assert told["answer"] == "do not pour"
    (row,) = told["withheld"]
    assert (row["animal"], row["kg"], row["carried_over"]) == ("1042", "12", False)
    text = page(vet_client, lot.get_absolute_url())
    assert "Milk of 1042 inside a withdrawal period is in it" in text
    assert "Can still be stopped:</strong> tank B 23 kg" in text


def test_withheld_milk_carried_over_counts_at_any_share(vet_api: Any) -> None:
    lot = withheld_day()
    after = bare_lot()
    bare_parent(after, lot, 1)
    told = answer_of(vet_api, after)
    assert told["answer"] == "do not pour"
    assert told["withheld"][0]["carried_over"] is True


def test_a_waste_tank_is_no_news(vet_api: Any) -> None:
    assert answer_of(vet_api, a_day(make_tank(use="waste")))["answer"] == "waste"


def test_results_stand_with_their_limits_and_struck_ones_stay_readable(vet_client: Any) -> None:
    load_reference(stamp_at(EVENING - timedelta(days=300)))
    lot = a_day()
    over = tests.record_lot_test(
        stamp=stamp_at(EVENING + HOUR),
        lot=lot,
        what="plate",
        value=Decimal(240),
        unit="thousand per ml",
    )
    text = page(vet_client, lot.get_absolute_url())
    assert "state-over" in text
    assert "at most 100 thousand per ml (estate)" in text
    tests.strike_lot_test(over, by=user_in("vet"), reason="quantity")
    text = page(vet_client, lot.get_absolute_url())
    assert "state-over" not in text
    assert 'class="struck-row"' in text
    assert "struck, wrong quantity" in text


def test_the_balance_closes(vet_client: Any, vet_api: Any) -> None:
    lot = a_day()
    fill(make_vat(at=EVENING + 3 * HOUR), tank=lot.tank, kg=10, at=EVENING + 3 * HOUR)
    balance = {name: Decimal(kg) for name, kg in answer_of(vet_api, lot)["balance"].items()}
    assert balance["used"] == 10
    assert balance["own"] + balance["carried"] == (
        balance["used"] + balance["passed_on"] + balance["left"]
    )
    assert "vat 2026-06-09/" in page(vet_client, lot.get_absolute_url())


def test_what_it_is_made_of_has_its_share(vet_client: Any, vet_api: Any) -> None:
    lot = withheld_day()
    (part,) = answer_of(vet_api, lot)["made_of"]
    assert (part["name"], part["kg"], part["share"]) == ("group 5", "23.000", "100.0")
    assert "Shares guide the testing and nothing else" in page(vet_client, lot.get_absolute_url())


@pytest.mark.parametrize("path", PAGES)
def test_everybody_with_a_role_reads_nobody_else_does(
    path: str, inspector_client: Any, nobody_client: Any, client: Any
) -> None:
    assert inspector_client.get(path).status_code == 200
    assert nobody_client.get(path).status_code == 403
    assert client.get(path).status_code == 302


def test_buttons_are_for_those_who_may(inspector_client: Any, cheesemaker_client: Any) -> None:
    lot = a_day()
    assert "Write a result" not in page(inspector_client, lot.get_absolute_url())
    assert f"/entries/lot-tests/new/?lot={lot.uuid}" in page(
        cheesemaker_client, lot.get_absolute_url()
    )


def test_the_form_of_a_result_opens_with_its_lot_and_takes_it(cheesemaker_client: Any) -> None:
    lot = a_day()
    path = f"/entries/lot-tests/new/?lot={lot.uuid}"
    assert lot.code in page(cheesemaker_client, path) or str(lot.uuid) in page(
        cheesemaker_client, path
    )
    sent = cheesemaker_client.send(
        path,
        happened_at="2026-06-09 17:30",
        lot=lot.code,
        what="cells",
        written="187,5",
        unit="thousand per ml",
        value="",
        verdict="",
    )
    assert sent.status_code == 302, sent.content
    assert LotTest.objects.get().value == Decimal("187.5")


def test_earlier_days_are_asked_for_by_their_last_day(vet_client: Any) -> None:
    lot = a_day()
    assert lot.code in page(vet_client, "/milk/lots/?until=2026-06-10")
    assert lot.code not in page(vet_client, "/milk/lots/?until=2026-06-01")


@pytest.mark.parametrize("text", ["yesterday", "2026-13-01", "0001-01-01", "'"])
def test_a_day_that_is_none_is_refused(vet_client: Any, text: str) -> None:
    assert vet_client.get("/milk/lots/", {"until": text}).status_code == 400


@pytest.mark.parametrize("path", ["/milk/lots/", "/milk/holds/", "/api/lots/"])
def test_an_unknown_number_is_not_found(path: str, vet_client: Any) -> None:
    number = "00000000-0000-4000-8000-000000000000"
    assert vet_client.get(f"{path}{number}/").status_code == 404


def test_the_list_costs_the_same_for_one_lot_and_for_many(vet_client: Any) -> None:
    def statements() -> int:
        with CaptureQueriesContext(connection) as asked:
            vet_client.get("/milk/lots/?until=2026-06-10")
        return len(asked)

    withheld_day()
    few = statements()
    for _ in range(5):
        hold_lot(a_day())
    assert statements() <= few + 4
    assert statements() <= 24


def test_the_api_lists_lots_newest_first_page_by_page(vet_api: Any) -> None:
    lots = [bare_lot(opened_at=EVENING + n * HOUR) for n in range(3)]
    first = vet_api.get("/api/lots/", size=2).json()
    assert [row["code"] for row in first["results"]] == [lots[2].code, lots[1].code]
    rest = vet_api.client.get(first["next"]).json()
    assert [row["code"] for row in rest["results"]] == [lots[0].code]
    assert rest["next"] is None


def test_the_api_is_not_for_those_without_a_role(nobody_api: Any, client: Any) -> None:
    assert nobody_api.get("/api/lots/").status_code == 403
    assert client.get("/api/lots/").status_code == 401


def test_a_freezing_point_tells_how_much_water(vet_client: Any) -> None:
    """100 · (0.520 - 0.508) / 0.520 = 2.31 % (a cryoscope manual's formula)."""
    load_reference(stamp_at(EVENING - timedelta(days=300)))
    lot = a_day()
    make_lot_test(lot=lot, what="freezing", value=Decimal("-0.508"), unit="°C")
    page = " ".join(vet_client.get(f"/milk/lots/{lot.uuid}/").content.decode().split())
    assert "about 2.3 % added water, counted from −0.52 °C" in page
    other = a_day()
    make_lot_test(lot=other, what="freezing", value=Decimal("-0.530"), unit="°C")
    page = " ".join(vet_client.get(f"/milk/lots/{other.uuid}/").content.decode().split())
    assert "added water" not in page
