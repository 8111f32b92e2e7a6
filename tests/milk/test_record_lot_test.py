"""Writing down a laboratory result, and what follows from it at once."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from milk.models import Hold, LotFlag, LotTest, MilkLot
from milk.reference import load_reference
from milk.results import UNITS
from milk.services import tests
from tests.factories.milk import EVENING, a_day, bare_lot, make_delivery, make_tank, stamp_at

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture
def lot() -> MilkLot:
    load_reference(stamp_at(EVENING - timedelta(days=300)))
    return bare_lot(opened_at=EVENING, ended_at=EVENING + 14 * HOUR)


def record(lot: MilkLot | None, what: str = "plate", **fields: Any) -> LotTest:
    if what != "inhibitor":
        fields.setdefault("unit", UNITS.get(what, ""))
    stamp = fields.pop("stamp", None) or stamp_at(EVENING + HOUR)
    return tests.record_lot_test(stamp=stamp, lot=lot, what=what, **fields)


def test_a_number_is_read_from_the_paper(lot: MilkLot) -> None:
    assert record(lot, "cells", written="187,5").value == Decimal("187.5")
    below = record(lot, written="<10")
    assert (below.value, below.written) == (Decimal(10), "<10")


def test_a_result_within_its_limits_makes_no_flag(lot: MilkLot) -> None:
    record(lot, value=Decimal(100))
    assert not LotFlag.objects.exists()


def test_a_result_over_a_limit_flags_its_lot_at_once(lot: MilkLot) -> None:
    test = record(lot, value=Decimal(101))
    flag = LotFlag.objects.get()
    assert (flag.lot, flag.test, flag.limit.scheme) == (lot, test, "estate")
    assert flag.words == (
        "plate count over: 101 of 2026-06-09, at most 100 thousand per ml (estate)"
    )


def test_limits_of_schemes_that_do_not_count_say_nothing(lot: MilkLot, settings: Any) -> None:
    settings.ESTATE_SCHEMES = ["US PMO"]
    record(lot, "cells", value=Decimal(500))
    assert not LotFlag.objects.exists()
    record(lot, "cells", value=Decimal(751), sample="2")
    assert LotFlag.objects.get().limit.scheme == "US PMO"


@pytest.mark.parametrize("verdict", ["positive", "doubt"])
def test_an_inhibitor_positive_or_in_doubt_holds_the_lot(lot: MilkLot, verdict: str) -> None:
    record(lot, "inhibitor", verdict=verdict, sample="4711")
    hold = Hold.objects.open().get()
    assert (hold.reason, hold.by.username) == ("inhibitor", "swardline")
    assert list(hold.items.values_list("lot", flat=True)) == [lot.pk]
    assert "sample 4711" in hold.words


def test_a_negative_inhibitor_test_holds_nothing(lot: MilkLot) -> None:
    record(lot, "inhibitor", verdict="negative")
    assert not Hold.objects.exists()


@pytest.mark.parametrize(
    ("written", "verdict"), [("Pos.", "positive"), ("not found", "negative"), ("?", "doubt")]
)
def test_a_verdict_is_read_from_the_paper(lot: MilkLot, written: str, verdict: str) -> None:
    assert record(lot, "inhibitor", written=written).verdict == verdict
    assert Hold.objects.open().exists() == (verdict != "negative")


def test_words_nobody_agreed_on_stand_beside_their_verdict(lot: MilkLot) -> None:
    assert record(lot, "inhibitor", verdict="negative", written="clear blue").written
    assert not Hold.objects.exists()


def test_a_contaminant_over_its_limit_holds_the_lot(lot: MilkLot) -> None:
    record(lot, "aflatoxin", written="0.050")
    assert not Hold.objects.exists()
    record(lot, "aflatoxin", written="0,071", sample="2")
    assert Hold.objects.open().get().reason == "limit"


def test_striking_a_result_takes_its_flag_and_its_hold_away(lot: MilkLot, vet: Any) -> None:
    over = record(lot, value=Decimal(300))
    positive = record(lot, "inhibitor", verdict="positive")
    tests.strike_lot_test(over, by=vet, reason="quantity")
    assert not LotFlag.objects.exists()
    tests.strike_lot_test(positive, by=vet, reason="animal")
    assert not Hold.objects.open().exists()
    assert Hold.objects.with_outcome().get().outcome == "cause gone"


@pytest.mark.parametrize(
    ("what", "fields", "where"),
    [
        ("plate", {}, "written"),
        ("fat", {"written": "40,2"}, "written"),
        ("plate", {"written": "n.d."}, "written"),
        ("plate", {"written": "1.250"}, "written"),
        ("plate", {"written": "87 000"}, "written"),
        ("plate", {"value": Decimal(0)}, "value"),
        ("plate", {"value": Decimal(87), "written": "88"}, "value"),
        ("plate", {"value": Decimal(87), "verdict": "positive"}, "verdict"),
        ("cells", {"value": Decimal(238_000)}, "value"),
        ("inhibitor", {}, "verdict"),
        ("inhibitor", {"verdict": "perhaps"}, "verdict"),
        ("inhibitor", {"verdict": "negative", "written": "pos."}, "verdict"),
        ("inhibitor", {"written": "no strip left"}, "verdict"),
        ("inhibitor", {"verdict": "negative", "value": Decimal(1)}, "value"),
        ("freezing", {"value": Decimal("0.525")}, "value"),
        ("urea", {"value": Decimal(1)}, "what"),
        ("plate", {"value": Decimal(40), "unit": ""}, "unit"),
        ("freezing", {"written": "-0,523", "unit": ""}, "unit"),
        ("aflatoxin", {"written": "0,021", "unit": ""}, "unit"),
        ("acidity", {"written": "7,1", "unit": "%"}, "unit"),
        ("inhibitor", {"verdict": "negative", "unit": "%"}, "unit"),
        ("spores", {"written": "<200"}, "method"),
        ("freezing", {"written": "-0,52", "unit": "°SH"}, "unit"),
    ],
)
def test_a_result_that_cannot_be_is_refused_at_its_field(
    lot: MilkLot, what: str, fields: dict[str, Any], where: str
) -> None:
    with pytest.raises(ValidationError) as refused:
        record(lot, what, **fields)
    assert list(refused.value.error_dict) == [where]
    assert not LotTest.objects.exists()


def test_a_sample_older_than_its_lot_is_refused(lot: MilkLot) -> None:
    with pytest.raises(ValidationError) as refused:
        record(lot, value=Decimal(20), stamp=stamp_at(EVENING - HOUR))
    assert list(refused.value.error_dict) == ["happened_at"]


def test_a_void_lot_takes_no_result(lot: MilkLot) -> None:
    MilkLot.objects.filter(pk=lot.pk).update(void=True)
    lot.refresh_from_db()
    with pytest.raises(ValidationError) as refused:
        record(lot, value=Decimal(20))
    assert list(refused.value.error_dict) == ["lot"]


def test_the_same_sample_twice_is_refused(lot: MilkLot) -> None:
    record(lot, value=Decimal(20), sample="1")
    with pytest.raises(ValidationError, match="that result already"):
        record(lot, value=Decimal(21), sample="1")


def body(lot: MilkLot, **fields: Any) -> dict[str, Any]:
    return {
        "happened_at": (EVENING + HOUR).isoformat(),
        "lot": str(lot.uuid),
        "what": "plate",
        "value": "20",
        "unit": "thousand per ml",
        **fields,
    }


def test_the_cheesemaker_writes_a_result_by_api(cheesemaker_api: Any, lot: MilkLot) -> None:
    answer = cheesemaker_api.post("/api/lot-tests/", body(lot))
    assert answer.status_code == 201, answer.content
    assert LotTest.objects.get().by.username == "cheesemaker"


@pytest.mark.parametrize("role", ["milker", "inspector", "nobody"])
def test_others_may_not_write_results(role: str, request: Any, lot: MilkLot) -> None:
    api = request.getfixturevalue(f"{role}_api")
    assert api.post("/api/lot-tests/", body(lot)).status_code == 403
    assert not LotTest.objects.exists()


def test_bad_input_by_api_names_the_field(vet_api: Any, lot: MilkLot) -> None:
    answer = vet_api.post("/api/lot-tests/", body(lot, value=None))
    assert answer.status_code == 400
    assert "/written" in answer.content.decode()


@pytest.mark.parametrize(
    ("what", "written", "unit", "standard"),
    [
        ("freezing", "-0,540", "°H", "-0.5215"),
        ("freezing", "-0,523", "°C", "-0.523"),
        ("aflatoxin", "51", "ng/kg", "0.051"),
        ("acidity", "15,75", "°D", "7"),
        ("plate", "87000", "per ml", "87"),
        ("fat", "4,1", "", "4.1"),
    ],
)
def test_a_result_keeps_its_unit_and_is_compared_in_that_of_the_limits(
    lot: MilkLot, what: str, written: str, unit: str, standard: str
) -> None:
    test = record(lot, what, written=written, unit=unit)
    test.refresh_from_db()
    assert (test.written, test.unit) == (written, unit or "%")
    assert test.standard is not None
    assert abs(test.standard - Decimal(standard)) <= Decimal("0.0004")


def test_a_limit_sees_through_the_unit(lot: MilkLot) -> None:
    record(lot, "aflatoxin", written="50", unit="ng/kg")
    assert not LotFlag.objects.exists()
    record(lot, "aflatoxin", written="51", unit="ng/kg", sample="2")
    assert "over: 51 ng/kg of 2026-06-09, at most 0.05 µg/kg" in LotFlag.objects.get().words
    record(lot, "freezing", written="-0,538", unit="°H", sample="3")
    record(lot, "freezing", written="-0,540", unit="°H", sample="4")
    assert LotFlag.objects.filter(test__what="freezing").get().test.sample == "3"


def test_spores_keep_their_method(lot: MilkLot) -> None:
    test = record(lot, "spores", written="<200", method="three tubes, lactate medium")
    assert (test.value, test.written, test.unit) == (Decimal(200), "<200", "per litre")
    assert test.method == "three tubes, lactate medium"


def test_a_result_of_a_suppliers_delivery_is_of_its_lot() -> None:
    delivery = make_delivery(at=EVENING)
    test = record(None, "fat", written="4,0", delivery=delivery)
    assert (test.lot, test.delivery) == (delivery.opened_lots.get(), delivery)


def test_a_result_of_a_delivery_out_is_of_the_lot_it_was_drawn_from() -> None:
    tank = make_tank()
    drawn = a_day(tank, animals=4)
    delivery = make_delivery(tank=tank, way="out", kg=20, at=EVENING + 2 * HOUR)
    test = record(None, "fat", written="4,0", delivery=delivery, stamp=stamp_at(EVENING + 3 * HOUR))
    assert test.lot == drawn
    with pytest.raises(ValidationError, match="Name one or the other"):
        record(bare_lot(), "fat", written="4,0", delivery=delivery)


def test_neither_lot_nor_delivery_is_refused() -> None:
    with pytest.raises(ValidationError, match="Name the lot"):
        record(None, "fat", written="4,0")


def test_a_delivery_may_be_named_instead_of_the_lot_by_api(office_api: Any) -> None:
    delivery = make_delivery(at=EVENING)
    sent = {
        "happened_at": (EVENING + HOUR).isoformat(),
        "delivery": str(delivery.uuid),
        "what": "freezing",
        "written": "-0,540",
        "unit": "°H",
    }
    answer = office_api.post("/api/lot-tests/", sent)
    assert answer.status_code == 201, answer.content
    assert answer.json()["lot"] == str(delivery.opened_lots.get().uuid)
    assert answer.json()["unit"] == "°H"


def test_a_result_without_unit_by_page_says_which_there_are(
    cheesemaker_client: Any, lot: MilkLot
) -> None:
    page = cheesemaker_client.send(
        "/entries/lot-tests/new/",
        lot=lot.code,
        what="freezing",
        written="-0,523",
        happened_at="2026-06-09T17:30",
    )
    assert page.status_code == 200
    assert "Say the unit on the paper" in page.content.decode()
    assert not LotTest.objects.exists()
