"""Results of a vat's cheese: what fails a criterion holds the vat with its wheels."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from config.entries import Stamp
from config.errors import Conflict
from milk.cheese_results import results_of
from milk.models import CheeseTest, Hold, Vat, Wheel
from milk.reference import load_reference
from milk.services import cheese, holds
from milk.services.cheese import record_cheese_test, strike_cheese_test
from tests.cast import Api, text, user_in
from tests.factories import milk

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
SAMPLED = milk.EVENING + 5 * DAY
FIVE = "5000; 20000; 90000; 8000; 10000"


@pytest.fixture(autouse=True)
def rules() -> None:
    load_reference(milk.stamp_at(milk.EVENING - 300 * DAY))


@pytest.fixture
def vat() -> Vat:
    made = milk.make_vat(number=7)
    for twin in "AB":
        milk.make_wheel(vat=made, twin=twin)
    return made


def result(vat: Vat, what: str, written: str = "", *, after: timedelta = DAY, **fields: Any) -> Any:
    stamp = milk.stamp_at(SAMPLED + after, by=user_in("cheesemaker"))
    return record_cheese_test(stamp=stamp, vat=vat, what=what, written=written, **fields)


def refused_hold() -> Hold:
    hold: Hold = Hold.objects.open().get()
    return hold


def release(hold: Hold, role: str) -> Any:
    return holds.decide(
        stamp=Stamp.now(user_in(role), timezone.now()),
        hold=hold,
        decision="release",
        words="looked at",
    )


def test_two_of_five_between_is_acceptable_and_holds_nothing(vat: Vat) -> None:
    result(vat, "staphylococci", FIVE)
    (judged,) = results_of(vat).judged
    assert [one.outcome for _, one in judged.judgements] == ["acceptable"]
    assert not Hold.objects.exists()


def test_three_between_holds_the_vat_and_its_wheels(vat: Vat) -> None:
    made = result(vat, "staphylococci", "5000; 20000; 90000; 20000; 10000")
    hold = refused_hold()
    assert (hold.vat, hold.reason, hold.cause_key) == (vat, "limit", f"cheese:{made.uuid}")
    assert len(hold.tree["wheels"]) == 2
    assert "3 of 5 units above 10,000, at most 2 may be (EU 2073/2005)" in hold.words
    # No result asks for more: two people may release it.
    release(hold, "vet")
    release(hold, "cheesemaker")
    assert holds.outcome_of(hold) == "release"


def test_above_a_hundred_thousand_it_waits_for_the_toxins(vat: Vat) -> None:
    result(vat, "staphylococci", "100001; 10; 10; 10; 10")
    hold = refused_hold()
    assert "test the batch for staphylococcal enterotoxins" in hold.words
    with pytest.raises(Conflict, match="no enterotoxin test of 5 units"):
        release(hold, "vet")
    result(vat, "enterotoxin", units=4, detected=0, after=3 * DAY)
    with pytest.raises(Conflict, match="no enterotoxin test of 5 units"):
        release(hold, "vet")
    result(vat, "enterotoxin", units=5, detected=0, after=4 * DAY)
    release(hold, "vet")
    release(hold, "cheesemaker")
    assert holds.outcome_of(hold) == "release"


@pytest.mark.parametrize("what", ["salmonella", "listeria", "enterotoxin"])
def test_one_unit_of_five_is_never_released(vat: Vat, what: str) -> None:
    result(vat, what, units=5, detected=1)
    with pytest.raises(Conflict, match="such a batch is not released"):
        release(refused_hold(), "vet")


def test_a_struck_result_lets_the_hold_go(vat: Vat) -> None:
    made = result(vat, "salmonella", units=5, detected=1)
    strike_cheese_test(made, by=user_in("vet"), reason="other", words="letter 12 of the laboratory")
    assert not Hold.objects.open().exists()
    assert results_of(vat).struck == [CheeseTest.objects.get(pk=made.pk)]


def test_listeria_by_count_where_it_cannot_grow(vat: Vat) -> None:
    result(vat, "aw", "0,91")
    assert results_of(vat).growth == "Listeria cannot grow in it (aw 0.91)."
    result(vat, "listeria count", "100; 90; 10; <10; <10")
    assert not Hold.objects.exists()
    result(vat, "listeria count", "101; 90; 10; <10; <10", after=2 * DAY)
    assert "1 of 5 units above 100" in refused_hold().words


def test_aflatoxin_is_held_against_the_limit_of_milk_times_its_factor(vat: Vat) -> None:
    result(vat, "aflatoxin", "275", unit="ng/kg")
    assert not Hold.objects.exists()
    result(vat, "aflatoxin", "0,276", unit="µg/kg", after=2 * DAY)
    assert "0.276 µg/kg, at most 0.275 (milk 0.05 times 5.5)" in refused_hold().words


def test_what_it_is_made_of(vat: Vat, settings: Any) -> None:
    """Guelph, Standardization of milk for cheese making, Table 6.1, firm-hard: 30 % fat and 40 %
    moisture are 50.0 % fat in dry matter and 57.1 % moisture in what is no fat."""
    settings.ESTATE_SCHEMES = ["US 21 CFR 133.150"]
    result(vat, "fat", "30")
    result(vat, "moisture", "40")
    found = results_of(vat)
    assert (found.dry_fat, round(found.moisture_without_fat or 0, 1)) == (50, Decimal("57.1"))
    assert {(one.what, one.word) for one in found.standards} == {
        ("moisture", "not kept"),
        ("fat in dry matter", "kept"),
    }
    assert not Hold.objects.exists()


@pytest.mark.parametrize(
    ("what", "fields", "field"),
    [
        ("staphylococci", {"written": ""}, "written"),
        ("staphylococci", {"written": "many; 3"}, "written"),
        ("staphylococci", {"written": "1.250; 3"}, "written"),
        ("staphylococci", {"written": "10", "unit": "%"}, "unit"),
        ("staphylococci", {"written": "10", "units": 5}, "units"),
        ("moisture", {"written": "36; 37"}, "written"),
        ("moisture", {"written": "3"}, "written"),
        ("aw", {"written": "1.2"}, "written"),
        ("aflatoxin", {"written": "0.1"}, "unit"),
        ("salmonella", {"units": 5}, "detected"),
        ("salmonella", {"detected": 0}, "units"),
        ("salmonella", {"units": 5, "detected": 6}, "detected"),
        ("salmonella", {"units": 5, "detected": 0, "written": "0"}, "written"),
        ("salmonella", {"units": 5, "detected": 0, "after": -30 * DAY}, "happened_at"),
    ],
)
def test_what_cannot_be_is_refused(vat: Vat, what: str, fields: Any, field: str) -> None:
    with pytest.raises(ValidationError) as refused:
        result(vat, what, **fields)
    assert list(refused.value.message_dict) == [field]
    assert not CheeseTest.objects.exists()


def test_the_page_says_held_and_why(vat: Vat, cheesemaker_client: Any) -> None:
    result(vat, "salmonella", units=5, detected=1)
    page = text(cheesemaker_client.get(f"/milk/vats/{vat.uuid}/cheese/"))
    assert "detected in 1 of 5 units" in page
    assert "A result fails its criterion" in page
    assert "A clean sample does not prove that every wheel is free" in page
    assert "Staphylococci are expected to be most about" in page


def test_held_wheels_do_not_leave(vat: Vat, office_api: Api) -> None:
    result(vat, "listeria", units=5, detected=1)
    wheel, buyer = Wheel.objects.filter(vat=vat)[0], milk.make_buyer()
    answer = office_api.post(
        "/api/dispatches/",
        {
            "wheel": str(wheel.uuid),
            "buyer": str(buyer.uuid),
            "kg": "40.1",
            "paper": "P1",
            "happened_at": (SAMPLED + 500 * DAY).isoformat(),
        },
    )
    assert answer.status_code in (400, 409), answer.content
    assert not Wheel.objects.filter(pk=wheel.pk, dispatches__isnull=False).exists()


def test_judged_again_it_comes_out_the_same(vat: Vat) -> None:
    result(vat, "salmonella", units=5, detected=1)
    cheese.follow(vat, SAMPLED + 9 * DAY)
    assert Hold.objects.count() == 1
