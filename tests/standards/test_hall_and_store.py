"""The dairy hall, the chain and the numbers on wheels against what is written elsewhere.

Sources, value by value:
- check digits: the file ``gs1_check_digit.json`` of the folder ``shared`` beside the project; each
  case names its page and whether it was read, computed by a library or remembered; two reference
  libraries, biip and python-stdnum, beside them.
- one step back and one forward, feed and food-producing animals included: Regulation (EC) 178/2002,
  Article 18 (a food agency's training page, read).
- two twins of a vat, evening milk and morning milk in one vat, a plate of its own on each wheel: a
  dairy museum's page quoting the producers' body, a trader's page (read; common practice).
- two hours from the milking to the dairy: a trade page (read), as Regulation (EC) 853/2004, Annex
  III, Section IX, Chapter I, II.B.
- weight of a new wheel 44 to 52 kg, and 40 to 44 kg ripe: from memory, and the same museum's page.
- the clot in inverse proportion to the rennet: the law of Storch and Segelcke, as handbooks give it
  (from memory).
- prices of cheese are the estate's own; here only that a lesser grade sells for less.
"""

import json
import os
from datetime import timedelta
from decimal import Decimal
from itertools import pairwise
from pathlib import Path
from typing import Any

import biip
import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st
from stdnum import ean

from config.errors import Conflict
from milk import gs1, vat
from milk.models import Grade, Wheel
from milk.money import PRICES
from milk.trace import back, forward
from tests.factories.feed import make_batch, make_feeding, make_field
from tests.factories.milk import EVENING, make_vat, make_wheel
from tests.milk.trace_chain import Chain, chain, chain_once

__all__ = ["chain", "chain_once"]

D = Decimal
HOUR = timedelta(hours=1)
ROOT = Path(__file__).resolve().parents[2]
FIXTURES = ROOT / "fixtures"
SHARED = Path(os.environ.get("SWARDLINE_SHARED", ROOT.parent / "shared"))
CHECK_DIGITS = SHARED / "checks/fixtures/gs1_check_digit.json"


def rows(name: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads((FIXTURES / name).read_text(encoding="utf-8"))
    return found


def figure(what: str) -> Decimal:
    (row,) = [row for row in rows("milk_figures.json") if row["what"] == what]
    return D(row["value"])


# --- numbers --------------------------------------------------------------------------------------


@pytest.mark.skipif(not CHECK_DIGITS.exists(), reason=f"no check digits at {CHECK_DIGITS}")
def test_check_digits_of_every_worked_case() -> None:
    cases = json.loads(CHECK_DIGITS.read_text(encoding="utf-8"))
    assert {case["kind"] for case in cases} >= {"GTIN-8", "GTIN-12", "GTIN-13", "GTIN-14"}
    assert any(case["kind"] == "SSCC-18" for case in cases)
    for case in cases:
        body, digit = case["body"], case["check_digit"]
        assert gs1.check_digit(body) == digit, case
        length = int(case["kind"].partition("-")[2])
        gs1.check_key(body + digit, (length,))
        assert str(biip.checksums.gs1_standard_check_digit(body)) == digit
        if length in (8, 13, 14):
            assert ean.is_valid(body + digit)
        if length == 14:
            assert gs1.padded(body + digit) == body + digit


@given(st.text("0123456789", min_size=7, max_size=17), st.data())
def test_one_wrong_digit_is_always_seen(body: str, data: st.DataObject) -> None:
    """GS1 General Specifications, 7.9: weights 3 and 1 find every single wrong digit."""
    key = body + gs1.check_digit(body)
    place = data.draw(st.integers(0, len(key) - 1))
    other = data.draw(st.sampled_from([digit for digit in "0123456789" if digit != key[place]]))
    with pytest.raises(ValueError, match="check digit"):
        gs1.check_key(key[:place] + other + key[place + 1 :], (len(key),))


# --- one step back, one step forward --------------------------------------------------------------


@pytest.mark.django_db
def test_from_a_vat_to_cows_and_feed_and_from_the_feed_to_the_wheels(chain: Chain) -> None:
    load = make_batch(make_field("Mill Field"), happened_at=EVENING - 30 * HOUR)
    make_feeding(load, chain.metered, happened_at=EVENING - 20 * HOUR)
    found = back("vat", chain.vat).found
    assert {lot.row.code for lot in found.lots} == {chain.evening.code, chain.morning.code}
    # Where there are meters the cows that gave some; where there are none all that stood there.
    assert {cow.name for cow in found.animals} >= {str(cow) for cow in chain.cows}
    assert [feed.name for feed in found.feeds] == [f"load {load.pk}, Mill Field"]
    below = forward("batch", load.pk).found
    assert {wheel.plate for wheel, _ in below.wheels} >= {wheel.plate for wheel in chain.wheels}


@pytest.mark.django_db
def test_a_vat_holds_the_milk_of_two_milkings(chain: Chain) -> None:
    found = back("vat", chain.vat).found
    assert len(found.milkings) >= 2


# --- vats and wheels ------------------------------------------------------------------------------


@pytest.mark.django_db
def test_a_vat_gives_two_wheels_at_most_and_a_plate_is_one_wheels_for_ever() -> None:
    made = make_vat()
    make_wheel(vat=made, twin="A", plate="0009001")
    make_wheel(vat=made, twin="B", plate="0009002")
    with pytest.raises(ValidationError, match="makes 2 wheels"):
        make_wheel(vat=made, twin="C", plate="0009003")
    with pytest.raises(Conflict, match="Plate 0009001 is on"):
        make_wheel(vat=make_vat(number=made.number % 40 + 1), twin="A", plate="0009001")
    assert Wheel.objects.standing().filter(plate__startswith="000900").count() == 2


def test_weights_of_wheels_lie_about_those_of_the_trade() -> None:
    assert (figure("wheel light"), figure("wheel heavy")) == (44, 52)
    assert figure("wheel least") < 40
    assert figure("wheel most") > figure("wheel heavy")
    # A ripe wheel of 40 to 44 kg was 44 to 52 kg new, if it lost about an eighth.
    for ripe in (40, 44):
        assert figure("wheel light") <= D(ripe) / D("0.875") <= figure("wheel heavy")


def test_half_the_rennet_takes_twice_the_time_and_the_strength_counts_like_the_grams() -> None:
    usual, dose = D(10), D("33.6")
    times = [vat.clot_expected(usual, dose * share, dose) for share in (D(2), D(1), D("0.5"))]
    assert times == [5, 10, 20]
    # The product of rennet and time is the same whatever was added.
    for strength in (D(900), D(1200), D(1500)):
        asked = vat.rennet_grams(D(1120), D(3), D(1200), strength)
        assert asked * strength == pytest.approx(D("33.6") * 1200)
        assert vat.clot_expected(usual, asked, asked) == usual


def test_milk_comes_to_the_dairy_within_two_hours() -> None:
    within = [
        row["minutes"]
        for row in rows("milk_cooling.json")
        if row["of"] == "cooled" and row["counted_from"] == "end"
    ]
    assert 120 in within


def test_a_lesser_grade_sells_for_less() -> None:
    value = {row["name"]: D(row["value"]) for row in rows("herd_rules.json")}
    prices = [value[PRICES[grade]] for grade in (Grade.FIRST, Grade.SECOND, Grade.DOWNGRADED)]
    assert all(better > worse > 0 for better, worse in pairwise(prices))
    assert all(row["source"] for row in rows("herd_rules.json"))
